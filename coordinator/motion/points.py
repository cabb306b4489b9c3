"""From a leg to the points that the joints get.

A jerk-limited profile is a cubic between two changes of its jerk, so points there reproduce it
exactly. What remains is rounding: times to µs, positions and velocities to counts. The profile is
evaluated at the rounded times, so rounding a time bends nothing.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

from coordinator.config.arm import Arm, Joint
from coordinator.motion.outputs import Switch, switch_of
from coordinator.motion.profile import Profile, fastest
from coordinator.motion.route import Leg, Pace, pace
from coordinator.programs import Dwell, Move, Output
from protocol.constants import ACCELERATION_SHARE, US
from protocol.points import Point
from protocol.segments import MIN_SPACING_US, check_segment

MERGED_US: Final = 5_000
"""Phases of a profile that are shorter are merged with a neighbour: rounding a position to a
count can add 6/h² counts/s² of acceleration, which at 5 ms and 45,511 counts/° is 5 °/s²."""
FIRST_EASING: Final = 0.001
"""Share by which the jerk is lowered first where merging breaks a limit; doubled after that."""


class CornerLimit(StrEnum):
    """What keeps the arm from passing a corner at the speed that the program asks for."""

    TOLERANCE = "tolerance"
    """It would stray further from the corner than is allowed."""
    ACCELERATION = "acceleration"
    """Turning the corner within half of the shorter of its two lines takes all a joint has."""
    WAY = "way"
    """The ways to it and from it are too short to get faster or to brake in."""


@dataclass(frozen=True, slots=True)
class PassedCorner:
    """How the end of a move is passed."""

    asked_deg_s: float
    """What program and joints allow on the slower of the two lines, along the path."""
    passed_deg_s: float
    """0 where the arm stops."""
    limit: CornerLimit | None
    """None where it is passed as asked."""
    joint: int | None
    """Index of the joint whose acceleration is the limit; None for another limit."""

    @property
    def is_slowed(self) -> bool:
        """Whether it is passed more slowly than asked for, beyond rounding."""
        return self.limit is not None


@dataclass(frozen=True, slots=True)
class PlannedMove:
    """A move, a dwell or the switch of an output as points, the same path times for all joints."""

    line: int
    rapid: bool
    start_us: int
    """Path time at which it begins."""
    duration_us: int
    """0 for a move that leads where the arm already is."""
    points: tuple[tuple[Point, ...], ...]
    """Per joint, base to tool, without the point where the move begins. The last one is at rest
    on the target, unless its end is passed; then it may have none."""
    target_deg: tuple[float, ...]
    slowed: bool
    """The joints' velocity limits make it slower than the program asks."""
    dwell: bool = False
    corner: PassedCorner | None = None
    """How its end is passed, where the program does not ask for a stop there."""
    switch: Switch | None = None
    """What is switched at its last point, where it is there for that."""
    overtravel: tuple[int, ...] = ()
    """Joints that turn beyond its end and back: their indexes."""
    overtravel_us: int = 0
    """The last part of its duration: out and back, or back alone in a rapid move that went straight
    to the place beyond."""

    @property
    def is_passed(self) -> bool:
        """Whether the arm goes through its end: a rest is a point of its own, at that time."""
        if not self.duration_us:
            return False
        ends = [points[-1] for points in self.points if points]
        end_us = self.start_us + self.duration_us
        return not ends or ends[0].time_us < end_us or any(point.velocity for point in ends)

    def as_last(self) -> "PlannedMove":
        """The same with its last point marked as the last of a part, if it has any."""
        return replace(self, points=tuple(map(_ended, self.points)))


def plan_leg(leg: Leg, arm: Arm, start_us: int) -> PlannedMove:
    """The points of a leg that begins at a path time and goes from rest to rest."""
    slowed, switch = False, None
    if isinstance(leg.step, Output):
        # At rest, as short as the wire allows: no joint accepts points that are closer.
        switch = switch_of(leg.step.word, arm)
        column = tuple(Point(start_us + MIN_SPACING_US, at, 0) for at in leg.end.counts)
        columns: list[tuple[Point, ...]] = [switch.at(column) if switch is not None else column]
    elif isinstance(leg.step, Dwell) and leg.takes_time:
        duration_us = max(MIN_SPACING_US, round(leg.step.seconds * US))
        columns = [tuple(Point(start_us + duration_us, at, 0) for at in leg.end.counts)]
    elif not leg.goes:
        columns = []
    else:
        speed = pace(leg, arm)
        slowed = speed.is_slowed
        columns = _columns(leg, arm, start_us, speed)
    return PlannedMove(
        line=leg.step.line,
        rapid=isinstance(leg.step, Move) and leg.step.rapid,
        start_us=start_us,
        duration_us=columns[-1][0].time_us - start_us if columns else 0,
        points=tuple(zip(*columns, strict=True)) if columns else tuple(() for _ in arm.joints),
        target_deg=leg.end.degrees,
        slowed=slowed,
        dwell=isinstance(leg.step, Dwell),
        switch=switch,
    )


def _ended(points: tuple[Point, ...]) -> tuple[Point, ...]:
    return (*points[:-1], replace(points[-1], last=True)) if points else ()


def _turns(leg: Leg) -> list[int]:
    """How far each joint goes, in counts."""
    return [b - a for a, b in zip(leg.start.counts, leg.end.counts, strict=True)]


def _profile(leg: Leg, arm: Arm, speed: Pace, easing: float) -> Profile:
    """The distance in degrees of the joint that turns furthest, within the limits of them all.

    The jerk limits are divided by 1 + `easing`.
    """
    turns = [
        abs(turn) / abs(joint.counts_per_degree)
        for joint, turn in zip(arm.joints, _turns(leg), strict=True)
    ]
    furthest = max(turns)

    def along(limit_of_joint: tuple[float, ...]) -> float:
        return min(
            limit * furthest / turn
            for limit, turn in zip(limit_of_joint, turns, strict=True)
            if turn > 0.0
        )

    joints = arm.joints
    return fastest(
        furthest,
        furthest / max(speed.least_s, speed.asked_s or 0.0),
        along(tuple(ACCELERATION_SHARE * joint.acceleration_deg_s2 for joint in joints)),
        along(tuple(joint.jerk_deg_s3 / (1.0 + easing) for joint in joints)),
    )


def _columns(leg: Leg, arm: Arm, start_us: int, speed: Pace) -> list[tuple[Point, ...]]:
    """The points of all joints, time by time, such that every joint accepts every segment.

    A cubic across merged phases may break a limit. With less jerk the phases get longer, until
    they need no merging; that costs time only where the jerk changes. It ends, because with
    little enough jerk no phase is left but the four of equal length in which it acts.
    """
    easing = 0.0
    while True:
        columns = list(_sampled(leg, start_us, _profile(leg, arm, speed, easing)))
        if all(
            _passes(joint, Point(start_us, leg.start.counts[k], 0), [c[k] for c in columns])
            for k, joint in enumerate(arm.joints)
        ):
            return columns
        easing = 2.0 * easing or FIRST_EASING


def _sampled(leg: Leg, start_us: int, profile: Profile) -> Iterator[tuple[Point, ...]]:
    turns = _turns(leg)
    for time_us in _times_us(profile):
        distance, velocity, _ = profile.at(time_us / US)
        share, rate = distance / profile.distance, velocity / profile.distance
        yield tuple(
            Point(start_us + time_us, at + round(share * turn), round(rate * turn))
            for at, turn in zip(leg.start.counts, turns, strict=True)
        )


def _times_us(profile: Profile) -> list[int]:
    """Where the points go: the profile's knots, without those too close to another."""
    end = max(MIN_SPACING_US, math.ceil(profile.duration_s * US))
    times = [0]
    for knot in profile.knots_s[1:-1]:
        time = round(knot * US)
        if time - times[-1] >= MERGED_US and end - time >= MERGED_US:
            times.append(time)
    return [*times[1:], end]


def _passes(joint: Joint, start: Point, points: list[Point]) -> bool:
    """Whether a joint would accept the points."""
    velocity = joint.velocity_deg_s * abs(joint.counts_per_degree)
    acceleration = joint.acceleration_deg_s2 * abs(joint.counts_per_degree)
    before = start
    for point in points:
        if check_segment(before, point, velocity, acceleration) is not None:
            return False
        before = point
    return True
