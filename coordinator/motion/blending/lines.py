"""The straight lines of a stretch, and the corners between them."""

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Final

from coordinator.config.arm import Arm
from coordinator.motion.blending.vectors import Vector, difference, length, scaled
from protocol.constants import ACCELERATION_SHARE, US

MERGED_US: Final = 5_000
"""Knots that are closer are merged. What that bends adds up to this much of the jerk."""
WIDEST: Final = 1.5
"""Tolerance, as a multiple of what averaging strays at a right angle taken from rest, from which
on the whole acceleration is used: less acceleration makes the window narrower, which may pay where
the tolerance is small. By trial with random programs: `make bench`, table `blending`."""
JOINED: Final = 0.1
"""Share of the window that moves straight on are joined up to."""
LEAST_WIDTH_S: Final = 0.05
STOPS: Final = 0.0
"""In the place of a share."""
LEAST_SHARE: Final = 0.4
"""Of the acceleration; where even that strays too far the arm stops."""

SAME: Final = 1e-9
"""Share of a length or speed by which figures differ that only rounding tells apart."""


@dataclass(frozen=True, slots=True)
class Ease:
    """What a stretch may use of the joints, and how it is averaged."""

    tolerance_deg: float | None
    """Furthest from the programmed path, in joint space; None for what no count resolves."""
    resolution_deg: float
    """One count of the coarsest joint."""
    width_s: float
    """Of the window over which positions are averaged."""
    accelerations: Vector
    """Of each joint, in °/s²."""
    velocities: Vector
    """Of each joint, in °/s."""
    stops: bool = False
    """At each corner: sooner than to pass them within the tolerance."""


@dataclass(frozen=True, slots=True)
class Line:
    """One move that takes time, or several straight on."""

    leg: int
    """Index of the first of its moves in the stretch, from 0."""
    start: Vector
    """Degrees."""
    direction: Vector
    length: float
    """Degrees, all joints together."""
    speed: float
    """The most that joints and program allow, in °/s along the line."""
    acceleration: float
    """The most that joints allow, in °/s² along the line."""
    ends: tuple[float, ...] = ()
    """Where its moves end but for the last, in degrees from its start."""

    @property
    def last_leg(self) -> int:
        """Index of the last of its moves."""
        return self.leg + len(self.ends)


def joined(lines: Iterable[Line], least_s: float) -> Iterator[Line]:
    """Moves straight on at the same speed as one line, until that takes so long.

    However short moves are, few lines lie within one window.
    """
    before: Line | None = None
    for line in lines:
        if before is not None:
            if before.length / before.speed < least_s and _goes_on(before, line):
                far = before.length + line.length
                before = replace(before, length=far, ends=(*before.ends, before.length))
                continue
            yield before
        before = line
    if before is not None:
        yield before


def _goes_on(before: Line, after: Line) -> bool:
    """Whether a line goes straight on at the same speed."""
    return (
        abs(after.speed - before.speed) <= SAME * before.speed
        and length(difference(after.direction, before.direction)) <= SAME
    )


def usual_share(arm: Arm, tolerance_deg: float | None) -> float:
    """How much of the acceleration serves most programs best, but where all of it may do better."""
    if tolerance_deg is None:
        return 1.0
    # Straying grows with the acceleration and the square of the width, and the width with it.
    whole = _planned(arm)
    strays = max(whole) * _width_s(arm, whole) ** 2 / 48.0 * math.sqrt(2.0)
    return min(1.0, max(LEAST_SHARE, math.cbrt(tolerance_deg / (WIDEST * strays))))


def ease_for(arm: Arm, tolerance_deg: float | None, share: float) -> Ease:
    """What a stretch with a tolerance may use, with a share of the acceleration, or with STOPS."""
    whole = _planned(arm)
    stops = share == STOPS
    share = 1.0 if stops else share
    width_s = _width_s(arm, scaled(whole, share))
    merged = MERGED_US / US / width_s
    # Full speed takes a whole window to be reached in any case. What merging knots bends is as much
    # as acceleration and velocity change meanwhile.
    rises = (joint.velocity_deg_s / width_s for joint in arm.joints)
    return Ease(
        tolerance_deg,
        max(1.0 / abs(joint.counts_per_degree) for joint in arm.joints),
        width_s,
        tuple(
            min(share * most, rise) * (1.0 - 2.0 * merged)
            for most, rise in zip(whole, rises, strict=True)
        ),
        tuple(joint.velocity_deg_s * (1.0 - merged * merged) for joint in arm.joints),
        stops,
    )


def _planned(arm: Arm) -> Vector:
    """The accelerations that plans may use, in °/s²."""
    return tuple(ACCELERATION_SHARE * joint.acceleration_deg_s2 for joint in arm.joints)


def _width_s(arm: Arm, accelerations: Vector) -> float:
    """The acceleration may turn from one way to the other at once: by twice the limit."""
    changes = zip(accelerations, arm.joints, strict=True)
    return max(LEAST_WIDTH_S, *(2.0 * a / joint.jerk_deg_s3 for a, joint in changes))


def line_from(leg: int, start: Vector, end: Vector, nominal_s: float, ease: Ease) -> Line:
    """The line of a move that takes at least `nominal_s` without what acceleration adds."""
    way = difference(end, start)
    far = length(way)
    direction = scaled(way, 1.0 / far)
    turning = [(abs(u), k) for k, u in enumerate(direction) if u]
    return Line(
        leg,
        start,
        direction,
        far,
        min(far / nominal_s, *(ease.velocities[k] / u for u, k in turning)),
        min(ease.accelerations[k] / u for u, k in turning),
    )


@dataclass(frozen=True, slots=True)
class Corner:
    """Where two lines meet; the arm passes within the tolerance."""

    turn: Vector
    """Direction after it minus direction before it."""
    bend: float
    """Length of that: 0 straight on, 2 back the same way."""
    blend_s2_deg: float
    """Time of the parabola, by the speed: the shortest within the joints' accelerations."""
    hardest: int
    """Index of the joint whose acceleration that is."""


def corner_between(before: Line, after: Line, ease: Ease) -> Corner:
    """The corner at the end of a line."""
    turn = difference(after.direction, before.direction)
    rates = [abs(d) / a for d, a in zip(turn, ease.accelerations, strict=True)]
    return Corner(turn, length(turn), max(rates), rates.index(max(rates)))
