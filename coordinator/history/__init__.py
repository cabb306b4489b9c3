"""What joints were over years, in rows of a bounded number. Pure: instants are Unix time in s."""
