"""The workshop: what writes vectors, schemas and parts of the document. Nothing imports it."""
