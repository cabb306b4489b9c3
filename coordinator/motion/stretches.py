"""Least and greatest position, speed and acceleration in a bounded number of stretches of time."""

import math
from collections.abc import Iterator, Sequence
from itertools import chain, pairwise
from typing import Final

from coordinator.motion.points import PlannedMove
from protocol.constants import US
from protocol.points import Point
from protocol.segments import hermite

STRETCHES: Final = 1_000
"""At most twice as many: a picture has no more columns."""
FIRST_US: Final = 10_000
"""Length of a stretch at first; doubled as often as the program needs it."""

Reach = tuple[float, float, float]
"""Position (counts), velocity (counts/s) and acceleration (counts/s²)."""


class Stretches:
    """What each joint does at least and at most; nothing grows with the program."""

    def __init__(self, counts: Sequence[int]) -> None:
        self.step_us = FIRST_US
        self.end_us = 0
        at_rest = [float(one) for count in counts for one in (count, 0, 0)]
        self.low: list[list[float]] = [at_rest]
        """By stretch: the least position, velocity and acceleration, joint after joint."""
        self.high: list[list[float]] = [list(at_rest)]
        self.lines = [0]
        """That is played as each stretch begins."""
        self._latest: tuple[int, list[float]] = 0, at_rest

    def add(self, move: PlannedMove, at: tuple[Point, ...], begun_us: int) -> tuple[Point, ...]:
        """A move that begins at these points, of a part that began then; its last points."""
        columns = [at, *zip(*move.points, strict=True)]
        if self.lines == [0] and move.points[0]:
            self.lines = [move.line]
        for before, after in pairwise(columns):
            time_us, until_us = before[0].time_us, after[0].time_us
            while time_us < until_us:
                k = self._stretch_at(begun_us + time_us)
                edge_us = min((k + 1) * self.step_us - begun_us, until_us)
                reaches = [
                    reach(a, b, time_us, edge_us) for a, b in zip(before, after, strict=True)
                ]
                low = list(chain.from_iterable(one for one, _ in reaches))
                self._take(k, low, list(chain.from_iterable(one for _, one in reaches)), move.line)
                time_us = edge_us
            self.end_us = begun_us + until_us
        resting = chain.from_iterable((float(point.position), 0.0, 0.0) for point in columns[-1])
        self._latest = move.line, list(resting)
        return columns[-1]

    def close(self) -> None:
        """The arm rests where it came to: the instant of its end is in a stretch too."""
        k = self._stretch_at(self.end_us)
        line, resting = self._latest
        if k == len(self.low):
            self._take(k, resting, resting, line)

    def _stretch_at(self, time_us: int) -> int:
        while time_us // self.step_us >= 2 * STRETCHES:
            self._merge()
        return time_us // self.step_us

    def _take(self, k: int, low: list[float], high: list[float], line: int) -> None:
        if k == len(self.low):
            self.low.append(low)
            self.high.append(high)
            self.lines.append(line)
        else:
            self.low[k] = list(map(min, self.low[k], low))
            self.high[k] = list(map(max, self.high[k], high))

    def _merge(self) -> None:
        self.step_us *= 2
        pairs = range(0, len(self.lines), 2)
        self.low = [[min(at) for at in zip(*self.low[k : k + 2], strict=True)] for k in pairs]
        self.high = [[max(at) for at in zip(*self.high[k : k + 2], strict=True)] for k in pairs]
        self.lines = self.lines[::2]


def reach(a: Point, b: Point, from_us: int, to_us: int) -> tuple[Reach, Reach]:
    """The least and the greatest that a joint does between two times within a segment.

    Largest at an end, or where the derivative is zero.
    """
    if a.position == b.position and not a.velocity and not b.velocity:
        at_rest = (float(a.position), 0.0, 0.0)
        return at_rest, at_rest
    begin, end = hermite(a, b, from_us), hermite(a, b, to_us)
    found = [begin, end]
    for after_s in _turns(begin[1], begin[2], end[2], (to_us - from_us) / US):
        found.append(hermite(a, b, from_us + after_s * US))
    positions, velocities, accelerations = zip(*found, strict=True)
    return (
        (min(positions), min(velocities), min(accelerations)),
        (max(positions), max(velocities), max(accelerations)),
    )


def _turns(velocity: float, first: float, last: float, span_s: float) -> Iterator[float]:
    """When, within a span, the acceleration is zero, which goes evenly from the first to the last,
    and when the velocity is.
    """
    jerk = (last - first) / span_s
    if first * last < 0.0:
        yield -first / jerk
    # velocity + first·t + jerk/2·t² = 0, in the form that loses no digits (Numerical Recipes
    # §5.6, from memory).
    inside = first * first - 2.0 * jerk * velocity
    if inside < 0.0:
        return
    q = -(first + math.copysign(math.sqrt(inside), first))
    for above, below in ((q, jerk), (2.0 * velocity, q)):
        # As a product: what is divided by next to nothing may be beyond all numbers.
        if below and 0.0 < above * math.copysign(1.0, below) < span_s * abs(below):
            yield above / below
