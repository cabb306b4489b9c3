"""The firmware logic of one joint: pure, in joint time (µs since boot)."""
