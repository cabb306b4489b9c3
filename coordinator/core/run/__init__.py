"""A run of a program: its phases, one small class each, and what they share.

Design sections 4 and 5.
"""

from coordinator.core.run.phases import Phase
from coordinator.core.run.run import Run

__all__ = ["Phase", "Run"]
