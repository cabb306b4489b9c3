"""Figures, not tests: `python -m tests.bench` prints tables and asserts no durations."""
