"""How the tables became what they are: one file in `versions` for each change, never edited."""
