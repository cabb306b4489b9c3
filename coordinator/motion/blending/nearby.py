"""How far the average strays at most at one corner after another, in a time that does not grow with
how many of them lie within the window.
"""

import math
from bisect import bisect_right
from collections.abc import Sequence
from typing import Final

from coordinator.motion.blending.corners import NEAR, Move, Straying, peak_speed

SHORT: Final = 0.25
"""Share of the window that a parabola takes at most where the bound is looked at; a quarter of it
is how far from the corner before."""


class Nearby:
    """A bound that is never below `straying`, from what that was at a corner a little before.

    It takes the same time however many corners lie within the window. φ changes by half of a time
    at most, and the third power of what is near by 3(T/2)² of it; sums over all corners so far say
    by how much that is for those in either window. Speeds only ever get lower, and so the bounds.
    """

    def __init__(self, width_s: float) -> None:
        self._width_s = width_s
        self._at: int | None = None
        """The corner where `straying` was looked for last; None where that says nothing more."""
        self._to = 0
        """The corner for which it was asked last."""
        self._away_s = 0.0
        """From there to the corner for which it was asked last."""
        self._found = Straying(0.0, 0.0, 0.0, 0, 0)
        self._hardest = self._fastest = 0.0
        self._last = 0
        """The last move of which these two know."""
        self._turns = [0.0]
        """Sum of bends by speed, and of bends, up to each corner, and one more."""
        self._bends = [0.0]
        self._long = [0]
        """How many parabolas took so long that they are not negligible."""

    def add(self, move: Move) -> None:
        """The next move, whose corner is known now if it has one."""
        bend = turns = blend_s = 0.0
        if move.corner is not None:
            bend, turns = move.corner.bend, move.corner.bend * move.end_speed
            blend_s = move.corner.blend_s2_deg * move.end_speed
        self._turns.append(self._turns[-1] + turns)
        self._bends.append(self._bends[-1] + bend)
        self._long.append(self._long[-1] + (blend_s > SHORT * self._width_s))

    def found(self, at: int, straying: Straying) -> None:
        """What it is at a corner."""
        self._at, self._to, self._away_s, self._found = at, at, 0.0, straying
        self._hardest, self._fastest, self._last = straying.hardest, straying.fastest, straying.last

    def slowed(self, first: int, last: int) -> None:
        """The ends of these moves are passed more slowly than was known before."""
        # Those before the corner where it was looked for make it less; those beyond are not asked.
        if self._at is not None and self._at <= last and first <= self._to:
            self._at = None

    def most_deg(self, moves: Sequence[Move], times_s: Sequence[float], at: int) -> float:
        """The bound at the corner behind the one asked for before; `times_s` say when moves end at
        the earliest.
        """
        if self._at is None or at != self._to + 1:
            return math.inf
        self._to, width_s = at, self._width_s
        self._away_s += moves[at].line.length / _peak(moves, at)
        if self._away_s > SHORT * width_s / 4.0:
            self._at = None
            return math.inf
        until_s = times_s[at] + (1.0 + SHORT) / 2.0 * width_s
        last = bisect_right(times_s, until_s, at, len(self._bends) - 1)
        first = self._found.first
        if self._long[last] > self._long[first]:
            return math.inf
        for k in range(self._last + 1, min(last + 1, len(moves))):
            self._hardest = max(self._hardest, moves[k].line.acceleration)
            self._fastest = max(self._fastest, _peak(moves, k))
            self._last = k
        turns, bends = (
            self._turns[last] - self._turns[first],
            self._bends[last] - self._bends[first],
        )
        by_distance = self._fastest * width_s * (1.0 + SHORT) / 4.0
        near = self._found.near + bends * width_s * self._away_s / 8.0
        by_acceleration = self._hardest * min(near, width_s * width_s / 12.0)
        parabolas = turns * width_s * SHORT * SHORT / 24.0
        by_speed = self._found.by_speed + turns * self._away_s / 2.0 + parabolas
        return min(by_distance, by_speed + by_acceleration) * (1.0 + NEAR)

    def forget(self, count: int) -> None:
        """Drop that many moves, and what their sums would make of the digits."""
        self._at = None
        del self._turns[:count], self._bends[:count], self._long[:count]
        self._turns = [one - self._turns[0] for one in self._turns]
        self._bends = [one - self._bends[0] for one in self._bends]


def _peak(moves: Sequence[Move], number: int) -> float:
    move = moves[number]
    begin = moves[number - 1].end_speed if number else move.end_speed
    return peak_speed(move.line, move.top_speed, begin, move.end_speed)
