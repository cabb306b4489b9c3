"""When a joint's motion meets the edges of its home sensor: solved for, never stepped through."""

import math
from collections.abc import Callable
from itertools import pairwise
from typing import Final

from protocol.constants import US
from protocol.points import Point
from simulator.joint.buffer import PointBuffer, turning_points
from simulator.joint.motion import FreeMotion
from simulator.physics.hall import HallSensor
from simulator.physics.hall_noise import SAMPLE_US, HallNoise

SOON_US: Final = 1.0
"""How soon after a motion begins on a Hall edge the firmware sees the new level."""
MEETING_S: Final = 1e-9
"""By how much at most rounding moves an edge out of the leg of a motion that it lies in."""
LOOKS: Final = 200
"""Samples of a noisy sensor that are looked at at once."""
FINE_US: Final = 1e-3
"""Path time to which a crossing is solved: at 10⁷ counts/s a hundredth of a count."""


class PathEdges:
    """The sensor's edges along one joint's path, in path time.

    Where they are depends on the points and the axis alone, so each segment is looked at once,
    whatever the rate does. `offset` is true position minus the path's, in counts; `level` what the
    sensor showed last, None where that is not known.
    """

    def __init__(
        self,
        hall: HallSensor,
        buffer: PointBuffer,
        path_us: float,
        offset: float,
        level: bool | None = None,
    ) -> None:
        self.offset = offset
        self.stuck = hall.stuck
        self._hall = hall
        self._buffer = buffer
        self._looked_us = path_us
        """Up to here all edges have been passed, or there are none."""
        self._position = buffer.at(path_us)[0] + offset
        """True position there."""
        self.level = hall.level(self._position, level)
        """What the sensor shows where the joint is."""
        self._next: tuple[float, float, bool] | None = None

    def next(self) -> tuple[float, bool] | None:
        """Path time (µs) of the next edge and the level from then on; None if none is in sight."""
        if self._next is None and self._looked_us < self._buffer.buffered_us:
            self._look()
        return None if self._next is None else (self._next[0], self._next[2])

    def passed(self) -> None:
        """The next edge has been passed."""
        assert self._next is not None
        self._looked_us, self._position, self.level = self._next
        self._next = None

    def _look(self) -> None:
        for a, b in pairwise(self._buffer.points_from(self._looked_us)):
            if self._hall.any_edge(*_hull(a, b, self.offset)):
                self._next = self._cross(a, b)
                if self._next is not None:
                    return
            self._looked_us, self._position = float(b.time_us), b.position + self.offset

    def _cross(self, a: Point, b: Point) -> tuple[float, float, bool] | None:
        """The first edge between two points: path time, true position, level from then on."""
        width = float(b.time_us - a.time_us)
        rise, va, vb = b.position - a.position, a.velocity * width / US, b.velocity * width / US
        c2, c3 = 3 * rise - 2 * va - vb, va + vb - 2 * rise
        origin = a.position + self.offset

        def at(u: float) -> float:
            return origin + u * (va + u * (c2 + u * c3))

        begin, position = (self._looked_us - a.time_us) / width, self._position
        for end in [*sorted(u for u in turning_points(a, b) if begin < u < 1.0), 1.0]:
            there = at(end)
            edge = self._hall.first_edge(position, there, self.level)
            if edge is not None:
                low, high, upwards = begin, end, there > position
                while (high - low) * width > FINE_US:
                    middle = 0.5 * (low + high)
                    if (at(middle) >= edge) == upwards:
                        high = middle
                    else:
                        low = middle
                return a.time_us + high * width, edge, not self.level
            begin, position = end, there
        return None


def _hull(a: Point, b: Point, offset: float) -> tuple[float, float]:
    """Bounds of the true position between two points: those of the cubic's Bézier points."""
    third_s = (b.time_us - a.time_us) / (3 * US)
    ends = (
        a.position,
        b.position,
        a.position + a.velocity * third_s,
        b.position - b.velocity * third_s,
    )
    return min(ends) + offset, max(ends) + offset


def next_edge(
    motion: FreeMotion | None, hall: HallSensor, offset: float, level: bool, now: float
) -> tuple[float, bool] | None:
    """Joint time of the next change of a Hall sensor's level in a free motion, and the new level.

    `offset` is true position minus the motion's, in counts; `level` is what was last known.
    """
    if motion is None:
        return None
    soon = hall.level(motion.at(now + SOON_US)[0] + offset, level)
    if soon is not level:
        # The motion began on the edge itself, which is no crossing.
        return now + SOON_US, soon
    for segment in motion.segments:
        # An edge where two legs meet lies in neither by rounding: the later one looks back for it.
        after_s = max(-MEETING_S, (now - segment.start_us) / US)
        duration_s = segment.duration_us / US
        while after_s < duration_s:
            found = hall.next_edge(
                segment.position + offset,
                segment.velocity,
                segment.acceleration,
                duration_s,
                after_s,
            )
            if found is None:
                break
            after_s, after = found
            if after is not level:
                return max(now, segment.start_us + after_s * US), after
    return None


def next_bounce(
    true: Callable[[float], float],
    hall: HallSensor,
    noise: HallNoise,
    fastest: float,
    level: bool,
    now: float,
) -> tuple[float, bool | None]:
    """Joint time of the next change of a noisy Hall sensor's level, and the new level.

    `true` is the true position at a joint time as things are now, in counts, and `fastest` what it
    changes by in a second at most: far from its edges so many samples are passed over. None for the
    level: it stays up to then, and it is to be looked again.
    """
    sample = math.floor(now / SAMPLE_US) + 1
    for _ in range(LOOKS):
        at_us = sample * SAMPLE_US
        inside = hall.inside(true(at_us))
        away = abs(inside) - noise.reach
        shows = inside >= 0.0 if away > 0.0 else inside + noise.at(sample) >= 0.0
        if shows is not level:
            return at_us, shows
        sample += max(1, math.floor(away / fastest * US / SAMPLE_US))
    return sample * SAMPLE_US, None
