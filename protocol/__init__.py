"""What crosses the wire, and the law of motion that both ends compute alike. Pure: see README.md."""
