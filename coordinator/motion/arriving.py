"""Planned moves with the overtravel at their ends: beyond, and back to where they end.

A rapid move from rest to rest goes straight to the place beyond, as its way is no work. Every other
one first comes to its end on its programmed path, and goes beyond from there.
"""

from collections import deque
from collections.abc import Iterable, Iterator
from dataclasses import replace

from coordinator.config.arm import Arm
from coordinator.motion.points import PlannedMove, plan_leg
from coordinator.motion.reversal import beyond
from coordinator.motion.route import Leg, Pose
from coordinator.programs import Move


class Arrivals:
    """Adds overtravel to moves in order. Nothing here grows with their number."""

    def __init__(self, arm: Arm) -> None:
        self._arm = arm
        self._legs: deque[Leg] = deque()
        """That were read and are not planned."""
        self._owed: frozenset[int] = frozenset()
        """Joints that were to overtravel in a bend so slight that the arm does not rest there."""

    def noting(self, legs: Iterable[Leg]) -> Iterator[Leg]:
        """The same legs; the moves that `added` is given are theirs."""
        for leg in legs:
            self._legs.append(leg)
            yield leg

    def alone(self, leg: Leg, start_us: int) -> PlannedMove:
        """The points of a leg that begins at a path time and goes from rest to rest."""
        if not (leg.overtravel and leg.goes and isinstance(leg.step, Move) and leg.step.rapid):
            return plan_leg(leg, self._arm, start_us)
        turn = beyond(leg, leg.overtravel, self._arm)
        out = plan_leg(replace(leg, end=turn), self._arm, start_us)
        back_us = start_us + out.duration_us
        back = plan_leg(_turned(turn, leg.end, leg, self._arm), self._arm, back_us)
        return _joined(replace(out, target_deg=leg.end.degrees), back, leg.overtravel)

    def added(self, moves: Iterable[PlannedMove]) -> Iterator[PlannedMove]:
        """The moves of a stretch, which begins at rest, each later by what is added before it."""
        later_us, rests = 0, True
        for planned in moves:
            leg, move = self._legs.popleft(), _later(planned, later_us)
            if move.duration_us:
                rests = not move.is_passed
            joints = self._owed.union(leg.overtravel).difference(move.overtravel)
            if rests and joints:
                move = _with_overtravel(move, leg, tuple(sorted(joints)), self._arm)
                later_us += move.overtravel_us
                joints = frozenset()
            self._owed = joints
            yield move


def _later(move: PlannedMove, later_us: int) -> PlannedMove:
    if not later_us:
        return move
    points = tuple(
        tuple(replace(point, time_us=point.time_us + later_us) for point in of_joint)
        for of_joint in move.points
    )
    return replace(move, start_us=move.start_us + later_us, points=points)


def _with_overtravel(move: PlannedMove, leg: Leg, joints: tuple[int, ...], arm: Arm) -> PlannedMove:
    """A move that ends at rest, with what these joints do then."""
    turn = beyond(leg, joints, arm)
    begin_us = move.start_us + move.duration_us
    out = plan_leg(_turned(leg.end, turn, leg, arm), arm, begin_us)
    back = plan_leg(_turned(turn, leg.end, leg, arm), arm, begin_us + out.duration_us)
    return _joined(_joined(move, out, joints), back, joints)


def _joined(move: PlannedMove, added: PlannedMove, joints: tuple[int, ...]) -> PlannedMove:
    return replace(
        move,
        duration_us=move.duration_us + added.duration_us,
        points=tuple((*a, *b) for a, b in zip(move.points, added.points, strict=True)),
        overtravel=joints,
        overtravel_us=move.overtravel_us + added.duration_us,
    )


def _turned(start: Pose, end: Pose, leg: Leg, arm: Arm) -> Leg:
    """At the speed of the way to a taught place: whatever the move's is, it takes no long time.
    Where home edges are checked, no faster than homing.
    """
    share = min(arm.jog_speeds.teaching, leg.overtravel_share)
    step = Move(leg.step.line, 1, (), relative=False, rapid=True, share=share)
    return Leg(step, start, end)
