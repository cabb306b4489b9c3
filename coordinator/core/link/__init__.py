"""One joint as the coordinator knows it: its connection, clock, requests and orders."""
