"""Work in processes of its own: planning, rehearsals."""
