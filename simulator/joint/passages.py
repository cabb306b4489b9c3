"""Which changes of the home sensor's level are one passage of its edge.

Near its edge a sensor may switch to and fro: it bounces. What counts is the passage: all changes
within a small angle of the first one, until the joint turns round.
"""

import math
from typing import Final

from protocol.configuration import Configuration
from protocol.constants import BOUNCE_PER_TURN, COUNTS_PER_MICROSTEP

STILL: Final = COUNTS_PER_MICROSTEP
"""Counts/s, one microstep a second: slower than this a joint has no direction of travel."""


def bounce(limits: Configuration) -> float:
    """Counts from the first change of a passage within which others belong to it."""
    return limits.counts_per_turn / BOUNCE_PER_TURN


class Passing:
    """The passage that the newest change of level belongs to. Forgotten while there is none."""

    def __init__(self) -> None:
        self.forget()

    def forget(self) -> None:
        """The next change begins a passage, wherever it comes."""
        self.begins = False
        """Whether the newest change is the first of its passage."""
        self.turned_round = False
        """Whether it is so only as the joint has turned round: the edge is that of before."""
        self.counts = False
        """Whether the level is another than before the passage, so that there is one."""
        self.place = 0.0
        """Where it was, in counts: as if the sensor had switched once, and been active over as much
        of the way. Only while it counts."""
        self._first: float | None = None
        self._direction = 0.0

    def change(self, position: float, velocity: float, limits: Configuration) -> None:
        """The level changed at a position (counts), at a velocity (counts/s)."""
        direction = math.copysign(1.0, velocity) if abs(velocity) >= STILL else 0.0
        near = self._first is not None and abs(position - self._first) < bounce(limits)
        self.turned_round = near and self._direction * direction < 0.0
        self.begins = not near or self.turned_round
        if self.begins:
            self.counts, self.place = True, position
            self._first, self._direction = position, direction
        else:
            self.counts, self.place = not self.counts, position - self.place
            self._direction = self._direction or direction
