"""The points of moves that pass through their ends."""

from collections import deque
from collections.abc import Iterable, Iterator
from dataclasses import replace
from itertools import chain

from coordinator.config.arm import Arm
from coordinator.motion.blending.course import course
from coordinator.motion.blending.legs import lines_of, share_for
from coordinator.motion.blending.lines import MERGED_US, Ease, ease_for
from coordinator.motion.blending.smoothing import Knot, Passed, smoothed
from coordinator.motion.blending.speeds import (
    EndSpeed,
    Passage,
    Passages,
    StretchSpeeds,
    replayed,
)
from coordinator.motion.points import PassedCorner, PlannedMove, plan_leg
from coordinator.motion.route import Leg, pace
from coordinator.programs import Move
from protocol.constants import US
from protocol.points import Point


def stretch_speeds(legs: Iterable[Leg], arm: Arm, tolerance_deg: float | None) -> StretchSpeeds:
    """What looking ahead finds of a stretch. It takes long where many short moves lie close by;
    with it `blended` takes little for each move.
    """
    share, legs = share_for(legs, arm, tolerance_deg)
    ease = ease_for(arm, tolerance_deg, share)
    passages = Passages(lines_of(legs, arm, ease), ease)
    ends = (EndSpeed(p.end_speed, p.top_speed, p.corner is not None) for p in passages)
    return StretchSpeeds(share, tuple(ends))


def blended(
    legs: Iterable[Leg],
    arm: Arm,
    tolerance_deg: float | None,
    start_us: int,
    known: StretchSpeeds | None = None,
) -> Iterator[PlannedMove]:
    """The moves of a stretch, which begins and ends at rest and else passes where it can.

    It strays from the lines by the tolerance at most, in joint space, or by none that a count
    resolves; and it passes the corners as near. Made as they are asked for;
    nothing here grows with their number.
    """
    if known is not None:
        share, ends = known
        return iter(_Stretch(legs, arm, ease_for(arm, tolerance_deg, share), start_us, ends))
    share, legs = share_for(legs, arm, tolerance_deg)
    return iter(_Stretch(legs, arm, ease_for(arm, tolerance_deg, share), start_us, None))


class _Stretch:
    def __init__(
        self,
        legs: Iterable[Leg],
        arm: Arm,
        ease: Ease,
        start_us: int,
        known: Iterable[EndSpeed] | None,
    ) -> None:
        self._arm = arm
        self._ease = ease
        self._time_us = start_us
        self._legs: deque[Leg] = deque()
        """That were read and are not planned."""
        lines = lines_of(self._read(legs), arm, ease)
        self._passages = iter(
            Passages(lines, ease) if known is None else replayed(lines, known, ease)
        )
        self._columns: list[tuple[Point, ...]] = []
        """Points that belong to no move yet."""
        self._number = 0
        """Of the next move that takes time."""
        self._corners: dict[int, PassedCorner] = {}
        """By the number of the move at whose end they are."""

    def __iter__(self) -> Iterator[PlannedMove]:
        for first in self._passages:
            if first.corner is None and not first.line.ends:
                yield from self._idle()
                move = plan_leg(self._legs.popleft(), self._arm, self._time_us)
                self._time_us += move.duration_us
                yield replace(move, corner=first.passed)
                self._number += 1
            else:
                yield from self._through(first)
        yield from self._idle()

    def _read(self, legs: Iterable[Leg]) -> Iterator[Leg]:
        for leg in legs:
            self._legs.append(leg)
            yield leg

    def _idle(self) -> Iterator[PlannedMove]:
        """The moves that take no time, up to the next that takes some."""
        while self._legs and not self._legs[0].goes:
            yield plan_leg(self._legs.popleft(), self._arm, self._time_us)

    def _through(self, first: Passage) -> Iterator[PlannedMove]:
        """From rest to rest."""
        begin_us = latest_us = self._time_us
        passed_us: int | None = None
        for one in smoothed(course(self._until_stop(first)), self._ease.width_s):
            if passed_us is not None:
                yield from self._passed(passed_us)
            time_us = begin_us + round(one.time_s * US)
            passed_us = time_us if isinstance(one, Passed) else None
            if isinstance(one, Knot) and time_us - latest_us >= MERGED_US:
                self._columns.append(self._column(time_us, one))
                latest_us = time_us
        assert passed_us is not None
        # There the acceleration fades, so a few milliseconds more exceed nothing.
        end_us = max(passed_us, latest_us + MERGED_US)
        yield from self._passed(end_us, is_end=True)

    def _until_stop(self, first: Passage) -> Iterator[Passage]:
        for passage in chain([first], self._passages):
            if passage.passed is not None:
                self._corners[passage.line.last_leg] = passage.passed
            yield passage
            if passage.corner is None:
                return

    def _column(self, time_us: int, knot: Knot) -> tuple[Point, ...]:
        return tuple(
            Point(time_us, joint.to_counts(angle), joint.to_counts(rate))
            for joint, angle, rate in zip(
                self._arm.joints, knot.position, knot.velocity, strict=True
            )
        )

    def _passed(self, time_us: int, *, is_end: bool = False) -> Iterator[PlannedMove]:
        yield from self._idle()
        leg = self._legs.popleft()
        if is_end:
            self._columns.append(tuple(Point(time_us, at, 0) for at in leg.end.counts))
        start_us, self._time_us = self._time_us, time_us
        points, self._columns = tuple(zip(*self._columns, strict=True)), []
        assert isinstance(leg.step, Move)
        yield PlannedMove(
            line=leg.step.line,
            rapid=leg.step.rapid,
            start_us=start_us,
            duration_us=time_us - start_us,
            points=points or tuple(() for _ in self._arm.joints),
            target_deg=leg.end.degrees,
            slowed=pace(leg, self._arm).is_slowed,
            corner=self._corners.pop(self._number, None),
        )
        self._number += 1
