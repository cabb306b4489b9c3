"""Position over time as the average over a window: jerk-limited, and a cubic between its knots."""

import heapq
import math
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass

from coordinator.motion.blending.course import Piece
from coordinator.motion.blending.vectors import Vector, scaled
from protocol.constants import US

SAME: float = 1e-9
"""Accelerations in °/s² that differ by less make no knot."""


@dataclass(frozen=True, slots=True)
class Knot:
    """Where the jerk changes."""

    time_s: float
    position: Vector
    """Degrees."""
    velocity: Vector
    """Degrees per second."""


@dataclass(frozen=True, slots=True)
class Passed:
    """The end of a move is passed, as near as the arm comes to it."""

    time_s: float
    leg: int
    """Index of the move."""


@dataclass(frozen=True, slots=True)
class _Begun:
    """A piece with when it begins, and the integral of the position up to there."""

    time_s: float
    piece: Piece
    area: Vector

    def at(self, time_s: float) -> tuple[Vector, Vector]:
        """Position, and its integral up to then."""
        t, piece = time_s - self.time_s, self.piece
        third, half = t * t * t / 6.0, t * t / 2.0
        position = tuple(
            p + v * t + a * half
            for p, v, a in zip(piece.position, piece.velocity, piece.acceleration, strict=True)
        )
        area = tuple(
            s + p * t + v * half + a * third
            for s, p, v, a in zip(
                self.area, piece.position, piece.velocity, piece.acceleration, strict=True
            )
        )
        return position, area


class _Window:
    """The pieces that the window can still reach. Before the first and after the last is rest."""

    def __init__(self, width_s: float) -> None:
        self._width_s = width_s
        self._pieces: deque[_Begun] = deque()
        self.end_s = 0.0

    def add(self, piece: Piece) -> None:
        area = self._pieces[-1].at(self.end_s)[1] if self._pieces else scaled(piece.position, 0.0)
        self._pieces.append(_Begun(self.end_s, piece, area))
        self.end_s += piece.duration_s

    def average(self, time_s: float) -> tuple[Vector, Vector]:
        """Position and velocity of the average over the window that ends then.

        Times must not decrease from call to call.
        """
        width_s, pieces = self._width_s, self._pieces
        tail_s = time_s - width_s
        # Pieces that end before the window begins are not asked for again.
        while len(pieces) > 1 and pieces[1].time_s <= tail_s:
            pieces.popleft()
        head, head_area = self._at(time_s)
        if tail_s <= 0.0:
            tail = pieces[0].piece.position
            tail_area = tuple(p * tail_s for p in tail)
        else:
            tail, tail_area = pieces[0].at(min(tail_s, self.end_s))
        position = tuple((a - b) / width_s for a, b in zip(head_area, tail_area, strict=True))
        velocity = tuple((a - b) / width_s for a, b in zip(head, tail, strict=True))
        return position, velocity

    def _at(self, time_s: float) -> tuple[Vector, Vector]:
        begun = next(one for one in reversed(self._pieces) if one.time_s <= time_s)
        if time_s <= self.end_s:
            return begun.at(time_s)
        end, area = begun.at(self.end_s)
        beyond_s = time_s - self.end_s
        return end, tuple(s + p * beyond_s for s, p in zip(area, end, strict=True))


def smoothed(pieces: Iterator[Piece], width_s: float) -> Iterator[Knot | Passed]:
    """The knots of the average, and the moves that are passed, in the order of time.

    It begins and ends at rest and takes `width_s` longer than the pieces; the last is the end of
    the last move.
    """
    window = _Window(width_s)
    due: list[tuple[float, int]] = []
    """Times of knots (-1), and of ends of moves."""
    before: Piece | None = None
    for piece in pieces:
        begin_s = window.end_s
        window.add(piece)
        if before is None or _changes(before, piece):
            heapq.heappush(due, (begin_s, -1))
            heapq.heappush(due, (begin_s + width_s, -1))
        if before is not None and before.leg != piece.leg:
            for leg in range(before.leg, piece.leg):
                heapq.heappush(due, (begin_s + width_s / 2.0, leg))
        before = piece
        while due and due[0][0] <= begin_s:
            yield _taken(heapq.heappop(due), window)
    if before is None:
        return
    end_s = window.end_s
    heapq.heappush(due, (end_s, -1))
    while due:
        yield _taken(heapq.heappop(due), window)
    yield Passed(end_s + width_s, before.leg)


def _taken(due: tuple[float, int], window: _Window) -> Knot | Passed:
    time_s, leg = due
    if leg >= 0:
        return Passed(time_s, leg)
    # Looked at where its point will be, so that rounding the time bends nothing.
    time_s = math.floor(time_s * US) / US
    return Knot(time_s, *window.average(time_s))


def _changes(before: Piece, after: Piece) -> bool:
    return any(
        abs(a - b) > SAME for a, b in zip(before.acceleration, after.acceleration, strict=True)
    )
