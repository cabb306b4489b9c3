"""From a leg to the points that the joints get.

A jerk-limited profile is a cubic between two changes of its jerk, so points there reproduce it
exactly. What remains is rounding: times to µs, positions and velocities to counts. The profile is
evaluated at the rounded times, so rounding a time bends nothing.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from coordinator.arm import Arm, Joint
from coordinator.motion.profile import Profile, fastest
from coordinator.motion.route import Leg, Pace, pace
from coordinator.programs import Dwell, Move
from protocol.constants import ACCELERATION_SHARE, US
from protocol.points import Point
from protocol.segments import MIN_SPACING_US, check_segment

MERGED_US: Final = 5_000
"""Phases of a profile that are shorter are merged with a neighbour: rounding a position to a
count can add 6/h² counts/s² of acceleration, which at 5 ms and 45,511 counts/° is 5 °/s²."""
FIRST_EASING: Final = 0.001
"""Share by which the jerk is lowered first where merging breaks a limit; doubled after that."""


@dataclass(frozen=True, slots=True)
class PlannedMove:
    """A move or a dwell as points, the same path times for all joints."""

    line: int
    rapid: bool
    start_us: int
    """Path time at which it begins."""
    duration_us: int
    """0 for a move that leads where the arm already is."""
    points: tuple[tuple[Point, ...], ...]
    """Per joint, base to tool, without the point where the move begins. The last one is at rest
    on the target."""
    target_deg: tuple[float, ...]
    slowed: bool
    """The joints' velocity limits make it slower than the program asks."""
    dwell: bool = False


def plan_leg(leg: Leg, arm: Arm, start_us: int, *, is_last: bool) -> PlannedMove:
    """The points of a leg that begins at a path time; `is_last` marks its last point as such."""
    slowed = False
    if not leg.takes_time:
        columns: list[tuple[Point, ...]] = []
    elif isinstance(leg.step, Dwell):
        duration_us = max(MIN_SPACING_US, round(leg.step.seconds * US))
        columns = [tuple(Point(start_us + duration_us, at, 0) for at in leg.end.counts)]
    else:
        speed = pace(leg, arm)
        slowed = speed.is_slowed
        columns = _columns(leg, arm, start_us, speed)
    if is_last and columns:
        columns[-1] = tuple(Point(p.time_us, p.position, 0, last=True) for p in columns[-1])
    return PlannedMove(
        line=leg.step.line,
        rapid=isinstance(leg.step, Move) and leg.step.rapid,
        start_us=start_us,
        duration_us=columns[-1][0].time_us - start_us if columns else 0,
        points=tuple(zip(*columns, strict=True)) if columns else tuple(() for _ in arm.joints),
        target_deg=leg.end.degrees,
        slowed=slowed,
        dwell=isinstance(leg.step, Dwell),
    )


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
