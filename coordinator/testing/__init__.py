"""Simulated arms for people's own tests: fixtures that pytest finds by itself (docs/testing.md).

Whatever is heavy is imported by the fixtures, so that pytest starts as fast where nobody asks.
"""
