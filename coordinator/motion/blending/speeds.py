"""How fast each corner is passed: looking ahead as far as it takes to come to rest."""

import math
from bisect import bisect_right
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Final, NamedTuple

from coordinator.motion.blending.corners import Move, peak_speed, straying
from coordinator.motion.blending.lines import Corner, Ease, Line, corner_between
from coordinator.motion.blending.nearby import Nearby
from coordinator.motion.points import PassedCorner

MOST_LINES: Final = 2_048
"""Looked at in one go; the arm goes no faster than it could stop within them."""
LEAST_PASSED: Final = MOST_LINES // 4
"""In one go, where so many are looked at: each costs as much as all that lie ahead of it."""
KEPT: Final = 2_048
"""Moves that are passed; beyond, those that no window reaches any more are dropped."""


@dataclass(frozen=True, slots=True)
class Passage:
    """A line with the speeds at its ends; half a parabola reaches into it at either."""

    line: Line
    top_speed: float
    begin_speed: float
    end_speed: float
    """In °/s."""
    begin_offset: float
    end_offset: float
    """How far the parabolas reach, in degrees."""
    corner: Corner | None
    """At its end; None where the arm stops there."""
    passed: PassedCorner | None
    """How its end is passed; None for the last line's, where a stop is asked for."""


class EndSpeed(NamedTuple):
    """What is found of a line by looking ahead: all that it takes to pass it once more."""

    speed: float
    """At its end."""
    top_speed: float
    passes: bool
    """Whether the arm goes on there without a stop."""


class StretchSpeeds(NamedTuple):
    """What is found of a whole stretch."""

    share: float
    """Of the acceleration, that is used; STOPS where the arm stops at each corner."""
    ends: tuple[EndSpeed, ...]


def replayed(lines: Iterable[Line], known: Iterable[EndSpeed], ease: Ease) -> Iterator[Passage]:
    """The passages of lines whose speeds are known: no work that grows with what is ahead."""
    source = iter(lines)
    line = next(source, None)
    begin = 0.0, 0.0
    for end in known:
        assert line is not None
        following = next(source, None)
        corner = None
        if end.passes and following is not None:
            corner = corner_between(line, following, ease)
        before, begin = begin, (end.speed, _blend(corner))
        yield Passage(
            line, end.top_speed, before[0], end.speed, _offset(*before), _offset(*begin),
            corner, None,
        )  # fmt: skip
        line = following


class Passages:
    """The passages of lines that meet, in order, each made as it is asked for."""

    def __init__(self, lines: Iterator[Line], ease: Ease) -> None:
        self._source = lines
        self._ease = ease
        self._moves: list[Move] = []
        self._times_s: list[float] = []
        """When each ends at the earliest, from the beginning of the stretch."""
        self._nearby = Nearby(ease.width_s)
        self._passed = 0
        """How many of them are passed; the window may reach back to them."""
        self._judged = 0
        """How many have ends of which it is known whether and how fast the tolerance lets them be
        passed, but for what corners behind the window do."""
        self._is_whole = False
        """No more lines come."""
        self._begin = 0.0, 0.0
        """Speed with which the first line begins, and the parabola's time by it."""
        self._stopping_s = max(
            v / a / 2.0 for v, a in zip(ease.velocities, ease.accelerations, strict=True)
        )
        """What the way to rest takes at full speed, at most."""

    def __iter__(self) -> Iterator[Passage]:
        while True:
            self._read()
            if self._passed == len(self._moves):
                return
            yield from self._pass(*self._passable())

    # ---- reading ------------------------------------------------------------------------------

    def _read(self) -> None:
        """Have enough lines to come to rest in, with the speeds of their ends."""
        self._judge()
        while not (self._is_whole or self._is_enough()):
            line = next(self._source, None)
            if line is None:
                self._is_whole = True
            else:
                self._add(line)
            self._judge()

    def _is_enough(self) -> bool:
        if len(self._moves) - self._passed >= MOST_LINES:
            return True
        known = self._known()
        if known > self._passed and self._moves[known - 1].stops:
            return True
        return (
            known > self._passed
            and self._times_s[known - 1] - self._times_s[self._passed] >= 2.0 * self._stopping_s
        )

    def _known(self) -> int:
        """How many moves have ends of which all is known."""
        known = self._judged
        if known and self._moves[known - 1].stops:
            return known
        if known > self._passed and not self._is_whole:
            # What is judged next may still ask those within half a window before it to be slower.
            until_s = self._times_s[known - 1] - self._ease.width_s
            return bisect_right(self._times_s, until_s, self._passed, known)
        return known

    def _add(self, line: Line) -> None:
        if len(self._moves) > self._passed and not self._moves[-1].stops:
            before = self._moves[-1]
            corner = before.corner = corner_between(before.line, line, self._ease)
            before.asked_speed = min(before.line.speed, line.speed)
            if corner.blend_s2_deg > 0.0:
                shorter = min(before.line.length, line.length)
                before.parabola_speed = math.sqrt(shorter / corner.blend_s2_deg)
            before.end_speed = min(before.asked_speed, before.parabola_speed)
            self._slow(len(self._moves) - 1)
            self._times_s[-1] = self._earliest_s(len(self._moves) - 1)
        if self._moves:
            self._nearby.add(self._moves[-1])
        self._moves.append(Move(line, line.speed, end_speed=line.speed))
        self._times_s.append(self._earliest_s(len(self._moves) - 1))

    def _earliest_s(self, number: int) -> float:
        """When a move ends, by what is known of the speeds."""
        move = self._moves[number]
        if number == 0:
            return move.line.length / move.top_speed
        begin = self._moves[number - 1].end_speed
        peak = peak_speed(move.line, move.top_speed, begin, move.end_speed)
        return self._times_s[number - 1] + move.line.length / peak

    def _slow(self, number: int) -> None:
        """No end is passed faster than the one before it lets the arm get, nor than it can be
        braked for the one after it.
        """
        moves = self._moves
        speed, blend = self._begin
        if number > self._passed:
            before = moves[number - 1]
            assert before.corner is not None
            speed, blend = before.end_speed, before.corner.blend_s2_deg
        move = moves[number]
        assert move.corner is not None
        reached = _reached(move.line, speed, blend, move.corner.blend_s2_deg)
        move.end_speed = min(move.end_speed, reached)
        for k in range(number, self._passed, -1):
            after, before = moves[k], moves[k - 1]
            assert after.corner is not None
            assert before.corner is not None
            most = _reached(
                after.line, after.end_speed, after.corner.blend_s2_deg, before.corner.blend_s2_deg
            )
            if before.end_speed <= most:
                return
            before.end_speed = most
            self._nearby.slowed(k - 1, k - 1)

    def _judge(self) -> None:
        """Find what the tolerance allows at all ends whose window is known whole."""
        while self._judged < len(self._moves):
            at = self._judged
            if self._passed < at and self._moves[at - 1].stops:
                return
            beyond_s = self._times_s[-1] - self._times_s[at]
            if not self._is_whole and beyond_s < self._ease.width_s:
                return
            if self._moves[at].corner is not None:
                self._allow(at)
            self._judged += 1

    def _allow(self, at: int) -> None:
        stops = self._ease.stops or self._ease.tolerance_deg is None
        tolerance = 0.0 if stops else self._ease.tolerance_deg or 0.0
        most = max(tolerance, self._ease.resolution_deg)
        if self._nearby.most_deg(self._moves, self._times_s, at) <= most:
            return
        found = straying(self._moves, at, self._ease.width_s)
        self._nearby.found(at, found)
        if min(found.by_speed + found.by_acceleration, found.by_distance) <= most:
            return
        if stops:
            self._moves[at].stops = True
            return
        window = self._moves[max(found.first, self._passed) : found.last + 1]
        left = tolerance - found.by_acceleration
        if left > 0.0:
            for move in window:
                move.share = min(move.share, left / found.by_speed)
            return
        # Slowly along all lines in the window, or resting at their ends: what takes less.
        speed = 4.0 * tolerance / self._ease.width_s
        longest = max(_blend(move.corner) for move in window)
        speed = 4.0 * tolerance / (self._ease.width_s + longest * speed)
        slow_s = sum(move.line.length / speed for move in window)
        stops_s = sum(
            2.0 * math.sqrt(move.line.length / move.line.acceleration) + self._ease.width_s
            for move in window
        )
        if stops_s < slow_s:
            self._moves[at].stops = True
            return
        for move in window:
            move.top_speed = min(move.top_speed, speed)

    # ---- passing ------------------------------------------------------------------------------

    def _passable(self) -> tuple[int, int, bool]:
        """Up to which move all are passed whatever comes behind; up to which one the arm could
        stop; and whether it does.
        """
        known = self._known()
        if known > self._passed and self._moves[known - 1].stops:
            return known, known, True
        if known == len(self._moves):
            return known, known, True
        if known == self._passed:
            # More lines than are looked at lie within one window: rather than stray, stop.
            return known + 1, known + 1, True
        latest_s = self._times_s[known - 1] - self._stopping_s
        count = self._passed + 1
        while count < known and self._times_s[count] <= latest_s:
            count += 1
        if len(self._moves) - self._passed >= MOST_LINES:
            count = max(count, min(self._passed + LEAST_PASSED, known - 1))
        return count, known, False

    def _pass(self, end: int, horizon: int, is_stop: bool) -> Iterator[Passage]:
        speeds = self._speeds(horizon)
        for number in range(self._passed, end):
            move = self._moves[number]
            speed = speeds[number - self._passed]
            # Without a tolerance a stop at a corner is what was asked for.
            is_told = move.corner is not None and self._ease.tolerance_deg is not None
            passed = move.passed(speed) if is_told else None
            if is_stop and number == end - 1:
                move.corner = None
            begin, self._begin = self._begin, (speed, _blend(move.corner))
            move.end_speed = speed
            yield Passage(
                move.line, move.top_speed, begin[0], speed, _offset(*begin), _offset(*self._begin),
                move.corner, passed,
            )  # fmt: skip
        self._nearby.slowed(self._passed, end - 1)
        self._passed = end
        self._judged = max(self._judged, end)
        self._forget()

    def _speeds(self, horizon: int) -> list[float]:
        """At the ends of the moves up to there, with rest at the end of the last."""
        moves = self._moves[self._passed : horizon]
        speed, blend = self._begin
        found: list[float] = []
        for move in moves[:-1]:
            after = _blend(move.corner)
            top = min(move.end_speed * move.share, move.top_speed)
            speed = min(top, _reached(move.line, speed, blend, after))
            blend = after
            found.append(speed)
        found.append(0.0)
        blend = 0.0
        for k in range(len(moves) - 1, 0, -1):
            before = _blend(moves[k - 1].corner)
            braked = _reached(moves[k].line, found[k], blend, before)
            found[k - 1] = min(found[k - 1], moves[k].top_speed, braked)
            blend = before
        return found

    def _forget(self) -> None:
        """Drop moves that no window reaches."""
        if self._passed < KEPT:
            return
        since_s = self._times_s[self._passed - 1] - self._ease.width_s
        first = self._passed
        while first > 0 and self._times_s[first - 1] > since_s:
            first -= 1
        del self._moves[:first], self._times_s[:first]
        self._nearby.forget(first)
        self._passed -= first
        self._judged -= first


def _blend(corner: Corner | None) -> float:
    return corner.blend_s2_deg if corner else 0.0


def _offset(speed: float, blend_s2_deg: float) -> float:
    """How far a parabola reaches into either line."""
    return speed * speed * blend_s2_deg / 2.0


def _reached(line: Line, speed: float, blend: float, far_blend: float) -> float:
    """The most speed at the other end of a line that has this speed at one, both with parabolas."""
    rise = line.acceleration
    squared = speed * speed * (1.0 - rise * blend) + 2.0 * rise * line.length
    return math.sqrt(max(0.0, squared / (1.0 + rise * far_blend)))
