"""From legs to points: which moves pass through their ends, and which end at rest."""

from collections import deque
from collections.abc import Iterable, Iterator

from coordinator.config.arm import Arm
from coordinator.motion.arriving import Arrivals
from coordinator.motion.blending.moves import blended, stretch_speeds
from coordinator.motion.blending.speeds import StretchSpeeds
from coordinator.motion.points import PlannedMove
from coordinator.motion.reversal import has_approach
from coordinator.motion.route import Leg
from coordinator.programs import Move, PathControl, Step


def speeds_of(legs: Iterable[Leg], arm: Arm) -> tuple[StretchSpeeds, ...]:
    """What looking ahead finds of each stretch of moves that pass through their ends, in order."""
    source, found = _Legs(legs), []
    while (leg := source.next) is not None:
        if _may_pass(leg):
            tolerance_deg = _tolerance_deg(leg.step, arm)
            found.append(stretch_speeds(source.stretch(), arm, tolerance_deg))
        else:
            source.take()
    return tuple(found)


def plan_legs(
    legs: Iterable[Leg], arm: Arm, speeds: Iterable[StretchSpeeds] | None = None
) -> Iterator[PlannedMove]:
    """The points of legs in order, from path time 0, each planned as it is asked for.

    Where `speeds_of` them are given, planning one takes little, whatever is ahead.

    A move in G64 passes through its end where another move follows, other than one in G61, that
    has the same tolerance or an exact stop; a move in G61 where the next one goes straight on.
    """
    arrivals = Arrivals(arm)
    source = _Legs(arrivals.noting(legs) if has_approach(arm) else legs)
    known = None if speeds is None else iter(speeds)
    time_us = 0
    while (leg := source.next) is not None:
        if _may_pass(leg):
            tolerance_deg = _tolerance_deg(leg.step, arm)
            ahead = None if known is None else next(known)
            moves = blended(source.stretch(), arm, tolerance_deg, time_us, ahead)
        else:
            moves = iter([arrivals.alone(source.take(), time_us)])
        for move in arrivals.added(moves) if has_approach(arm) else moves:
            time_us = move.start_us + move.duration_us
            yield move


def _may_pass(leg: Leg) -> bool:
    """Whether a stretch begins that need not rest at the ends of its moves."""
    return isinstance(leg.step, Move) and leg.step.path_control is not PathControl.EXACT_STOP


def _tolerance_deg(move: Step, arm: Arm) -> float | None:
    """How far a move's end may be missed; None for not at all."""
    if not isinstance(move, Move) or move.path_control is not PathControl.CONTINUOUS:
        return None
    return min(move.tolerance_deg or arm.blend_tolerance_deg, arm.blend_tolerance_deg)


class _Legs:
    """Legs with a look at the next one."""

    def __init__(self, legs: Iterable[Leg]) -> None:
        self._source = iter(legs)
        self._looked_at: deque[Leg] = deque()

    @property
    def next(self) -> Leg | None:
        """The leg that `take` gives."""
        if not self._looked_at:
            self._looked_at.extend([leg] if (leg := next(self._source, None)) else [])
        return self._looked_at[0] if self._looked_at else None

    def take(self) -> Leg:
        """The next leg, which there must be."""
        assert self.next is not None
        return self._looked_at.popleft()

    def stretch(self) -> Iterator[Leg]:
        """The next leg and those that follow without a stop asked for."""
        while True:
            leg = self.take()
            yield leg
            if self.next is None or not _joins(leg, self.next):
                return


def _joins(leg: Leg, following: Leg) -> bool:
    """Whether a move may pass through its end into the next one."""
    before, after = leg.step, following.step
    if not isinstance(before, Move) or not isinstance(after, Move):
        return False
    if before.path_control is PathControl.EXACT_PATH:
        return after.path_control is not PathControl.CONTINUOUS
    if (
        before.path_control is PathControl.EXACT_STOP
        or after.path_control is PathControl.EXACT_PATH
    ):
        return False
    return (
        after.path_control is PathControl.EXACT_STOP or before.tolerance_deg == after.tolerance_deg
    )
