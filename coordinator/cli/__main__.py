"""`python -m coordinator.cli`, the same as `unisono`."""

from coordinator.cli import main

if __name__ == "__main__":
    main()
