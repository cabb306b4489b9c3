"""Against reversal error: which joints overtravel at the end of which moves (design section 5.9).

A joint stands on its approach side once it has turned that way, by its overtravel at least, since
it last turned the other way or since nobody knew how it stood. Where the program asks for a rest,
every joint that it named and that does not stand so turns beyond its target and comes back.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from math import hypot
from typing import Final

from coordinator.config.arm import Arm, Joint
from coordinator.motion.route import Leg, Pose
from coordinator.programs import Move, PathControl, Problem, Step

STRAIGHT: Final = 1e-6
"""Bend, in rad, up to which a move in G61 goes straight on into the next."""


def has_approach(arm: Arm) -> bool:
    """Whether any joint is to arrive from one side."""
    return any(joint.approach is not None for joint in arm.joints)


def named(steps: Iterable[Step]) -> frozenset[int]:
    """The joints that moves name; at a rest behind the last one all of them stand as they should,
    if they have an approach side.
    """
    moves = (step for step in steps if isinstance(step, Move))
    return frozenset(target.joint for move in moves for target in move.targets)


def approached(legs: Iterable[Leg], arm: Arm, settled: frozenset[int]) -> Iterator[Leg]:
    """The legs of a part, with the joints that overtravel at their ends.

    `settled` are the joints that stand on their approach side as it begins.
    """
    if not has_approach(arm):
        return iter(legs)
    return _with_overtravel(legs, _Sides(arm, settled))


def _with_overtravel(legs: Iterable[Leg], sides: "_Sides") -> Iterator[Leg]:
    before: Leg | None = None
    for leg in legs:
        if before is not None:
            yield sides.after(before, leg)
        before = leg
    if before is not None:
        yield sides.after(before, None)


def beyond(leg: Leg, joints: Sequence[int], arm: Arm) -> Pose:
    """Where these joints turn back to come to the end of a leg."""
    degrees, counts = list(leg.end.degrees), list(leg.end.counts)
    for k in joints:
        approach = arm.joints[k].approach
        assert approach is not None, "only a joint with an approach side overtravels"
        degrees[k] -= approach.direction * approach.overtravel_deg
        counts[k] = arm.joints[k].to_counts(degrees[k])
    return Pose(tuple(degrees), tuple(counts))


def overtravel_problems(legs: Iterable[Leg], arm: Arm) -> Iterator[Problem]:
    """Every overtravel that leaves a joint's range."""
    for leg in legs:
        if leg.overtravel:
            pose = beyond(leg, leg.overtravel, arm)
            for k in leg.overtravel:
                yield from _out_of_range(leg, arm.joints[k], k, pose)


def _out_of_range(leg: Leg, joint: Joint, k: int, pose: Pose) -> Iterator[Problem]:
    counts = joint.range_counts
    if counts is None or joint.range_deg is None or counts[0] <= pose.counts[k] <= counts[1]:
        return
    assert isinstance(leg.step, Move)
    assert joint.approach is not None
    low, high = joint.range_deg
    limit, side = (low, "below") if joint.approach.direction > 0 else (high, "above")
    columns = [target.column for target in leg.step.targets if target.joint == k]
    yield Problem(
        leg.step.line,
        columns[0] if columns else leg.step.column,
        f"{joint.name} would overtravel to {pose.degrees[k]:g}° to come to {leg.end.degrees[k]:g}° "
        f"from {side}, beyond its limit of {limit:g}° (range {low:g} to {high:g}°, "
        f"overtravel_deg {joint.approach.overtravel_deg:g})",
    )


class _Sides:
    """How far each joint has still to turn its approach way until it stands on that side."""

    def __init__(self, arm: Arm, settled: frozenset[int]) -> None:
        self._whole = [overtravel_counts(joint) for joint in arm.joints]
        """With the sign of the way; 0 where a joint has no approach side."""
        self._left = [0 if k in settled else abs(far) for k, far in enumerate(self._whole)]
        self._named: set[int] = set()
        self._way: tuple[float, ...] | None = None
        """The direction of the last move that went anywhere."""

    def after(self, leg: Leg, following: Leg | None) -> Leg:
        """A leg with the joints that overtravel at its end."""
        if not isinstance(leg.step, Move):
            return leg
        self._named.update(target.joint for target in leg.step.targets)
        for k, (a, b) in enumerate(zip(leg.start.counts, leg.end.counts, strict=True)):
            turned = b - a if self._whole[k] > 0 else a - b
            if turned < 0:
                self._left[k] = abs(self._whole[k])
            else:
                self._left[k] = max(0, self._left[k] - turned)
        if leg.goes:
            self._way = _way(leg)
        if not self._asks_rest(leg.step, following):
            return leg
        joints = tuple(k for k, left in enumerate(self._left) if left and k in self._named)
        for k in joints:
            self._left[k] = 0
        return replace(leg, overtravel=joints) if joints else leg

    def _asks_rest(self, move: Move, following: Leg | None) -> bool:
        """Whether the program asks for a rest at the end of a move."""
        after = following.step if following is not None else None
        if not isinstance(after, Move) or move.path_control is PathControl.EXACT_STOP:
            return True
        if move.path_control is PathControl.CONTINUOUS:
            return after.path_control is PathControl.EXACT_PATH
        if after.path_control is PathControl.CONTINUOUS:
            return True
        assert following is not None
        if not following.goes or self._way is None:
            return False  # the end of that one is the same place
        bends = zip(_way(following), self._way, strict=True)
        return hypot(*(b - a for a, b in bends)) > STRAIGHT


def overtravel_counts(joint: Joint) -> int:
    """How far a joint overtravels, with the sign of its approach way; 0 where it has none."""
    if joint.approach is None:
        return 0
    return joint.to_counts(joint.approach.direction * joint.approach.overtravel_deg)


def _way(leg: Leg) -> tuple[float, ...]:
    """The direction of a leg, of length 1."""
    turns = [b - a for a, b in zip(leg.start.degrees, leg.end.degrees, strict=True)]
    far = hypot(*turns)
    return tuple(turn / far for turn in turns)
