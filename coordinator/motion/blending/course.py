"""Lines and parabolas over time: pieces of constant acceleration, from rest to rest."""

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from coordinator.motion.blending.speeds import Passage
from coordinator.motion.blending.vectors import Vector, further, scaled

SHORTEST_S = 1e-9
"""Shorter pieces are what is left of rounding."""


@dataclass(frozen=True, slots=True)
class Piece:
    """A time in which no acceleration changes."""

    duration_s: float
    position: Vector
    """Where it begins, in degrees."""
    velocity: Vector
    """With which it begins, in °/s."""
    acceleration: Vector
    """In °/s²."""
    leg: int
    """Index of the move."""


def course(passages: Iterable[Passage]) -> Iterator[Piece]:
    """The pieces of the lines, in order. The parabola at a corner belongs half to either line."""
    for one in passages:
        yield from _along(one)
        yield from _around(one)


def _along(one: Passage) -> Iterator[Piece]:
    """The straight part of a line: faster, on, slower."""
    line, first, last = one.line, one.begin_speed, one.end_speed
    at, far = one.begin_offset, line.length - one.begin_offset - one.end_offset
    rise = line.acceleration
    top = math.sqrt(max(first * first, last * last, (first * first + last * last) / 2 + rise * far))
    top = min(top, one.top_speed)
    rising_s, falling_s = (top - first) / rise, (top - last) / rise
    ramps = (2.0 * top * top - first * first - last * last) / (2.0 * rise)
    steady_s = max(0.0, far - ramps) / top
    still = scaled(line.direction, 0.0)
    leg = line.leg
    for duration_s, speed, gain in (
        (rising_s, first, rise),
        (steady_s, top, 0.0),
        (falling_s, top, -rise),
    ):
        if duration_s <= SHORTEST_S:
            continue
        rate = scaled(line.direction, gain) if gain else still
        begin, done_s = at, 0.0
        at += speed * duration_s + gain * duration_s * duration_s / 2.0
        while leg <= line.last_leg:
            end = line.ends[leg - line.leg] if leg < line.last_leg else math.inf
            way = max(0.0, end - begin)
            # The root that keeps its digits where the gain is small.
            root = math.sqrt(max(0.0, speed * speed + 2.0 * gain * way)) if end < at else 0.0
            until_s = min(duration_s, 2.0 * way / (speed + root)) if end < at else duration_s
            if until_s - done_s > SHORTEST_S:
                gone = begin + speed * done_s + gain * done_s * done_s / 2.0
                yield Piece(
                    until_s - done_s,
                    further(line.start, line.direction, gone),
                    scaled(line.direction, speed + gain * done_s),
                    rate,
                    leg,
                )
                done_s = until_s
            if end >= at:
                break
            leg += 1


def _around(one: Passage) -> Iterator[Piece]:
    """The parabola at the end of a line, at a constant rate along it."""
    corner, line = one.corner, one.line
    if corner is None or one.end_speed * corner.blend_s2_deg <= SHORTEST_S:
        return
    bend = scaled(corner.turn, 1.0 / corner.blend_s2_deg)
    half_s = one.end_speed * corner.blend_s2_deg / 2.0
    begin = further(line.start, line.direction, line.length - one.end_offset)
    velocity = scaled(line.direction, one.end_speed)
    yield Piece(half_s, begin, velocity, bend, line.last_leg)
    middle = further(further(begin, velocity, half_s), bend, half_s * half_s / 2.0)
    yield Piece(half_s, middle, further(velocity, bend, half_s), bend, line.last_leg + 1)
