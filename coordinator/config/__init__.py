"""What the owner says: the arm file, the data folder, settings."""
