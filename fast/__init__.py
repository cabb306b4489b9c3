"""What compiles the pure packages: `python -m fast`, or `make fast`."""
