"""What was: runs, homings, the journal, counts, into the database as they grow."""
