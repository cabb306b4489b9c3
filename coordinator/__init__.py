"""The service on the laptop that makes a set of joints act as one arm."""
