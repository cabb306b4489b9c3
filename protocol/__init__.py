"""What crosses the wire, and the law of motion both ends share. Pure: see README.md."""
