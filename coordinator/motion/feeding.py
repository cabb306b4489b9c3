"""A plan that is played while the rest of it is still being made, elsewhere.

Whoever makes it sends `Fed` pieces in order, by `pieces_of`; whoever plays has them from a
`FedPlan`, which holds as many as came and were not taken, and asks for no more than it `wants`.
"""

from bisect import bisect_right
from collections import deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Final, Protocol

from coordinator.motion.edges import EdgeCheck
from coordinator.motion.outputs import Awaited, ToolNeed
from coordinator.motion.plan import Part
from coordinator.motion.points import PlannedMove
from coordinator.motion.route import Pose
from coordinator.programs.loops import Loops
from protocol.points import Point

AHEAD: Final = 2_048
"""Moves that wait to be played; no more are asked for. A joint's buffer is filled from them."""
PIECES: Final = 256
"""Sent at once: what they take to be unpacked is nothing to an exchange with the joints."""


class PlayedPart(Protocol):
    """A part of a program as a run needs it."""

    @property
    def loop(self) -> int:
        """Of the program, from 1: the one in which it begins."""

    @property
    def turns(self) -> tuple[int, ...]:
        """Numbers of moves before which another loop begins, as of `Part`."""

    @property
    def edges(self) -> tuple[EdgeCheck, ...]:
        """The home edges that are checked before the loop begins."""

    @property
    def pause_line(self) -> int | None:
        """The line of the pause that ends it; None for the last part."""

    @property
    def pause_loop(self) -> int | None:
        """The loop of the pause or the wait that ends it; None for the last part."""

    @property
    def awaits(self) -> Awaited | None:
        """What is awaited at its end; None for nothing."""

    @property
    def end_line(self) -> int | None:
        """The line of the pause or the switch that ends it; None for the last part."""

    @property
    def is_empty(self) -> bool:
        """Whether no path time passes."""

    @property
    def broken_off(self) -> str:
        """Why no more of its moves come, though there are more: a sentence; empty else."""

    def first_points(self) -> tuple[Point, ...]:
        """Where each joint must stand, at rest, at path time 0."""

    def moves(self) -> Iterator[PlannedMove | None]:
        """Its moves in order; None where the next one is not there yet."""

    def loop_of(self, move: int) -> int:
        """Loop of the program in which one of its moves is, the one that was given last."""

    def needs(self) -> Iterator[ToolNeed]:
        """What it needs of the tools, as far as that is not told of the whole program."""


class PlayedParts(Protocol):
    """The parts of a program in order, of which a run needs the one that it plays."""

    def __len__(self) -> int: ...

    def __getitem__(self, index: int, /) -> PlayedPart: ...


@dataclass(frozen=True, slots=True)
class Head:
    """All of a part but its moves, which follow."""

    start: Pose
    is_empty: bool
    loop: int
    turns: tuple[int, ...]
    pause_line: int | None
    pause_loop: int | None
    awaits: Awaited | None


@dataclass(frozen=True, slots=True)
class FedMove:
    """A move of the part whose head came last."""

    move: PlannedMove
    loop: int


Fed = Head | FedMove


def pieces_of(parts: Iterable[Part]) -> Iterator[tuple[Fed, ...]]:
    """The plan of parts in pieces, each made as it is asked for.

    The head of a part comes with the last move of the one before, so that whoever has played that
    knows what is next.
    """
    piece: list[Fed] = []
    for one in _fed(parts):
        if len(piece) >= PIECES and isinstance(one, FedMove):
            yield tuple(piece)
            piece = []
        piece.append(one)
    yield tuple(piece)


def _fed(parts: Iterable[Part]) -> Iterator[Fed]:
    # Nobody takes what leads nowhere: behind the last point, or in an empty part, it would stay
    # in the way of what follows.
    for part in parts:
        yield Head(
            part.start,
            part.is_empty,
            part.loop,
            part.turns,
            part.pause_line,
            part.pause_loop,
            part.awaits,
        )
        for number, move in enumerate(() if part.is_empty else part.moves()):
            if move.duration_us or any(move.points):
                yield FedMove(move, part.loop_of(number))


def needs_of(parts: Iterable[Part]) -> tuple[ToolNeed, ...]:
    """What parts need of the tools, each once, with the line where that is first."""
    first: dict[tuple[int, str, str], ToolNeed] = {}
    for part in parts:
        for need in part.needs():
            first.setdefault((need.joint, need.kind, need.name), need)
    return tuple(first.values())


def part_at(parts: PlayedParts, index: int, loops: Loops) -> PlayedPart | None:
    """The part of an index, from 0; None behind the last one. For a time there is none.

    What was planned of the second loop is played again in each further one.
    """
    if index < len(parts):
        return parts[index]
    if loops.for_s is None:
        return None
    # Asked several times at every step, with parts in order of their loops.
    first = bisect_right(parts, 1, key=lambda part: part.loop)
    rounds, k = divmod(index - first, len(parts) - first)
    part = parts[first + k]
    assert isinstance(part, Part), "what is played for a time is planned whole"
    pause_loop = None if part.pause_loop is None else part.pause_loop + rounds
    return replace(part, loop=part.loop + rounds, pause_loop=pause_loop)


class FedPart:
    """A part whose moves come as they are made. It is played once."""

    def __init__(self, head: Head) -> None:
        self._head = head
        self._moves: deque[FedMove] = deque()
        self._loop = head.loop
        self.is_whole = False
        """No more of its moves come."""
        self.broken_off = ""
        """See there."""

    @property
    def loop(self) -> int:
        """As of `PlayedPart`, like all that follows."""
        return self._head.loop

    @property
    def turns(self) -> tuple[int, ...]:
        """See there."""
        return self._head.turns

    @property
    def edges(self) -> tuple[EdgeCheck, ...]:
        """None: loops between which edges are checked are planned whole."""
        return ()

    @property
    def pause_line(self) -> int | None:
        """See there."""
        return self._head.pause_line

    @property
    def pause_loop(self) -> int | None:
        """See there."""
        return self._head.pause_loop

    @property
    def awaits(self) -> Awaited | None:
        """See there."""
        return self._head.awaits

    @property
    def end_line(self) -> int | None:
        """See there."""
        return self.pause_line if self.awaits is None else self.awaits.line

    @property
    def is_empty(self) -> bool:
        """See there."""
        return self._head.is_empty

    def first_points(self) -> tuple[Point, ...]:
        """See there."""
        return tuple(Point(0, at, 0, last=self.is_empty) for at in self._head.start.counts)

    def moves(self) -> Iterator[PlannedMove | None]:
        """See there."""
        while self._moves or not self.is_whole:
            if not self._moves:
                yield None
                continue
            one = self._moves.popleft()
            self._loop = one.loop
            yield one.move

    def loop_of(self, _move: int) -> int:
        """See there."""
        return self._loop

    def needs(self) -> Iterator[ToolNeed]:
        """See there."""
        return iter(())

    @property
    def waiting(self) -> int:
        """How many of its moves are there and not taken."""
        return len(self._moves)

    def add(self, move: FedMove) -> None:
        """The next of its moves."""
        self._moves.append(move)


class FedPlan:
    """The parts of a program as they come: of those that were asked for the last two are kept."""

    def __init__(self, count: int) -> None:
        self._count = count
        self._parts: deque[FedPart] = deque()
        self._first = 0
        """Index of the first part that is kept."""

    def __len__(self) -> int:
        return self._count

    def __getitem__(self, index: int, /) -> PlayedPart:
        while self._first < index - 1 and len(self._parts) > 1:
            self._parts.popleft()
            self._first += 1
        if not 0 <= index - self._first < len(self._parts):
            raise IndexError(f"part {index} is not kept; there are some from {self._first} on")
        return self._parts[index - self._first]

    @property
    def wants(self) -> bool:
        """Whether more of it may come now."""
        return sum(part.waiting for part in self._parts) + len(self._parts) < AHEAD

    def take(self, piece: Iterable[Fed]) -> None:
        """The next piece."""
        for one in piece:
            if isinstance(one, FedMove):
                self._parts[-1].add(one)
                continue
            if self._parts:
                self._parts[-1].is_whole = True
            self._parts.append(FedPart(one))

    def break_off(self, why: str) -> None:
        """There are more pieces, but none comes any more."""
        if self._parts:
            self._parts[-1].broken_off = why

    def close(self) -> None:
        """There are no more pieces."""
        if self._parts:
            self._parts[-1].is_whole = True
