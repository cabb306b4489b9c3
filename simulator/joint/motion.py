"""Free motion: pieces of constant acceleration, laid out in advance, read at any instant.

Jogging, homing and braking move so. Nothing is stepped: a motion is a handful of parabolas, so
that reading it often or seldom gives the same positions, and a sensor's edge can be solved for.
"""

import math
from dataclasses import dataclass

from protocol.constants import US


@dataclass(frozen=True, slots=True)
class Segment:
    """One parabola: from `start_us` (joint time), for `duration_us`, which may be infinite."""

    start_us: float
    position: float
    """Counts."""
    velocity: float
    """Counts/s."""
    acceleration: float
    """Counts/s²."""
    duration_us: float

    def at(self, now: float) -> tuple[float, float]:
        """Position and velocity at a joint time within the segment."""
        t = (now - self.start_us) / US
        return (
            self.position + t * (self.velocity + 0.5 * self.acceleration * t),
            self.velocity + self.acceleration * t,
        )


class FreeMotion:
    """Segments one after the other, with rest after the last unless that never ends."""

    __slots__ = ("end_position", "end_us", "segments")

    def __init__(self, segments: tuple[Segment, ...], end_us: float, end_position: float) -> None:
        self.segments = segments
        self.end_us = end_us
        """Joint time from which it rests; infinite for a cruise without a bound."""
        self.end_position = end_position

    def at(self, now: float) -> tuple[float, float]:
        """Position (counts) and velocity (counts/s) at a joint time, not before its beginning."""
        if now >= self.end_us:
            return self.end_position, 0.0
        return self._containing(now).at(now)

    def _containing(self, now: float) -> Segment:
        for segment in reversed(self.segments):
            if segment.start_us <= now:
                return segment
        return self.segments[0]


def brake(now: float, position: float, velocity: float, acceleration: float) -> FreeMotion:
    """To rest as fast as the acceleration limit (counts/s²) allows."""
    return _lay(now, position, velocity, [(0.0, acceleration)], None)


def toward(
    now: float,
    position: float,
    velocity: float,
    target: float,
    acceleration: float,
    low: float = -math.inf,
    high: float = math.inf,
) -> FreeMotion:
    """To a target velocity, held until there is just room to come to rest at the bound ahead.

    Velocities in counts/s, acceleration in counts/s², bounds in counts. Where the room is
    already too small, and for a target of 0, it brakes at once.
    """
    if target == 0.0:
        return brake(now, position, velocity, acceleration)
    sign = math.copysign(1.0, target)
    legs: list[tuple[float, float]] = []
    speed = velocity * sign
    if speed < 0.0:
        legs.append((0.0, acceleration))
        position_then = position + velocity * abs(velocity) / (2.0 * acceleration)
        speed = 0.0
    else:
        position_then = position
    bound = high if sign > 0.0 else low
    room = (bound - position_then) * sign
    stopping = speed * speed / (2.0 * acceleration)
    if room <= stopping:
        return brake(now, position, velocity, acceleration)
    peak = math.sqrt(acceleration * room + 0.5 * speed * speed)
    top = min(abs(target), peak) if abs(target) > speed else abs(target)
    changing = abs(top * top - speed * speed) / (2.0 * acceleration)
    cruise = max(0.0, room - changing - top * top / (2.0 * acceleration))
    legs.append((sign * top, acceleration))
    if math.isinf(cruise):
        return _lay(now, position, velocity, legs, None)
    return _lay(now, position, velocity, [*legs, (cruise, 0.0), (0.0, acceleration)], bound)


def to(
    now: float,
    position: float,
    velocity: float,
    target: float,
    speed: float,
    acceleration: float,
) -> FreeMotion:
    """To rest at a target position, from whichever side, no faster than `speed` on the way.

    Where it is too fast to stop there, or past it, it brakes and comes back. Units as `toward`.
    """
    rest = position + velocity * abs(velocity) / (2.0 * acceleration)
    if rest == target:
        return brake(now, position, velocity, acceleration)
    toward_it = math.copysign(speed, target - rest)
    return toward(now, position, velocity, toward_it, acceleration, target, target)


def _lay(
    now: float,
    position: float,
    velocity: float,
    legs: list[tuple[float, float]],
    end: float | None,
) -> FreeMotion:
    """Segments for legs (velocity to reach, acceleration) or, at acceleration 0, (distance, 0)."""
    segments: list[Segment] = []
    for value, acceleration in legs:
        if acceleration == 0.0:
            seconds, slope = value / abs(velocity), 0.0
        else:
            slope = math.copysign(acceleration, value - velocity)
            seconds = abs(value - velocity) / acceleration
        if seconds <= 0.0:
            continue
        segments.append(Segment(now, position, velocity, slope, seconds * US))
        position += seconds * (velocity + 0.5 * slope * seconds)
        if acceleration != 0.0:
            velocity = value
        now += seconds * US
    if velocity != 0.0:
        segments.append(Segment(now, position, velocity, 0.0, math.inf))
        return FreeMotion(tuple(segments), math.inf, math.nan)
    return FreeMotion(tuple(segments), now, position if end is None else end)
