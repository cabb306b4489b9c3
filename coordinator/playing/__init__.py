"""Programs played: planned from where the arm stands, recorded, begun, and told of."""
