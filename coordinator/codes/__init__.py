"""Closed sets of codes that programs may rely on, each with what it means for people."""
