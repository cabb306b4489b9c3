"""Pictures for people, as SVG: `svg.py` draws, `program.py` shows what a program would do."""
