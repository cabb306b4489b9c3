"""The check for lost steps between two loops: joints go slowly over the edges of their sensors.

A joint compares every passage of its home sensor with its last homing. A program may never pass
there, so between two loops each joint goes to the middle of its sensor, out of it, and back, one
after another in the order of homing; no faster than it homes, and within its range. It rests in
the middle and outside, so that it is seen whether the sensor is active there: an axis that is far
astray passes no edge at all.
"""

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from coordinator.config.arm import Arm, Joint
from coordinator.motion.reversal import overtravel_counts
from coordinator.motion.route import Leg, Pose
from coordinator.programs import Dwell, Move, Target

LOOK_S: Final = 0.4
"""Rest in the middle and outside: ten statuses at the active rate."""
EDGE_STEPS: Final = 6
"""What `edge_steps` gives of each joint."""
_BACK: Final = 4
"""Which of them leads back."""
SURE_SHARE: Final = 0.5
"""Of the way from the middle to an edge, and from an edge to the place outside: as far as that the
level is sure though edges switch late."""


class EdgesError(ValueError):
    """Home edges cannot be checked between loops; the sentence names every such joint."""


@dataclass(frozen=True, slots=True)
class EdgeCheck:
    """Where one joint's home sensor is to be active and where it is not. Counts."""

    joint: int
    """Index, base to tool."""
    middle: int
    outside: int
    """Where it rests outside the sensor."""
    half_width: float
    turn: float
    """Of the output, after which the sensor comes again."""

    def expected(self, position: int) -> bool | None:
        """The sensor's level at a position; None where it is not sure."""
        away = abs(math.remainder(position - self.middle, self.turn))
        if away <= SURE_SHARE * self.half_width:
            return True
        room = abs(self.outside - self.middle) - self.half_width
        return False if away >= self.half_width + SURE_SHARE * room else None


def edge_checks(
    arm: Arm, half_widths_deg: Mapping[str, float], pose: Pose
) -> tuple[tuple[EdgeCheck, ...], tuple[str, ...]]:
    """The checks of all joints from a pose, in the order of homing; and why some cannot be made.

    `half_widths_deg` is half the width of the home sensor of each joint of which it is known.
    """
    checks: list[EdgeCheck] = []
    why: list[str] = []
    names = [joint.name for joint in arm.joints]
    for name in arm.homing_order:
        k = names.index(name)
        found = _check(arm.joints[k], k, half_widths_deg.get(name), pose.degrees[k])
        if isinstance(found, str):
            why.append(f"the edge of {name} cannot be checked: {found}")
        else:
            checks.append(found)
    return tuple(checks), tuple(why)


def edge_steps(
    checks: Sequence[EdgeCheck], arm: Arm, pose: Pose, line: int
) -> Iterator[Move | Dwell]:
    """What is played for checks from a pose, to which all joints come back."""
    for check in checks:
        joint = arm.joints[check.joint]
        share = min(1.0, joint.homing.fast_deg_s / joint.velocity_deg_s)
        back_deg = pose.degrees[check.joint]
        for degrees in (joint.to_degrees(check.middle), joint.to_degrees(check.outside), back_deg):
            target = Target(check.joint, degrees, 1)
            yield Move(line, 1, (target,), relative=False, rapid=True, share=share)
            yield Dwell(line, 1, LOOK_S)


def edge_legs(legs: Iterable[Leg], arm: Arm) -> Iterator[Leg]:
    """The legs of `edge_steps`, with what is done against reversal error.

    A joint overtravels only where it comes back, unless it comes all the way from its approach
    side; over the edge that leads no faster than it homes.
    """
    for number, leg in enumerate(legs):
        if number % EDGE_STEPS != _BACK:
            yield leg
            continue
        assert isinstance(leg.step, Move)
        joint = leg.step.targets[0].joint
        far = overtravel_counts(arm.joints[joint])
        turned = leg.end.counts[joint] - leg.start.counts[joint]
        if far and (turned if far > 0 else -turned) < abs(far):
            yield replace(leg, overtravel=(joint,), overtravel_share=leg.step.share)
        else:
            yield leg


def _check(joint: Joint, k: int, half_width_deg: float | None, at_deg: float) -> EdgeCheck | str:
    if half_width_deg is None:
        return "where its home sensor switches is not known here; home it"
    home_deg = joint.home_deg
    if joint.range_deg is None:
        home_deg += 360.0 * round((at_deg - home_deg) / 360.0)
    away_deg = half_width_deg + joint.homing.backoff_deg
    if away_deg + half_width_deg >= 360.0:
        return f"its home sensor is {2 * half_width_deg:g}° wide"
    # First on the side from which homing comes: that is in the range as a rule.
    outside = [home_deg - side * joint.homing.direction * away_deg for side in (1, -1)]
    low, high = joint.range_deg or (-math.inf, math.inf)
    there = next((one for one in outside if low <= one <= high), None)
    if there is None:
        return (
            f"its home sensor at {home_deg:g}° is left at {min(outside):g} or {max(outside):g}°, "
            f"both outside its range of {low:g} to {high:g}°"
        )
    per_degree = abs(joint.counts_per_degree)
    return EdgeCheck(
        joint=k,
        middle=joint.to_counts(home_deg),
        outside=joint.to_counts(there),
        half_width=half_width_deg * per_degree,
        turn=360.0 * per_degree,
    )
