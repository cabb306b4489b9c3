"""What happens at one time of a program: dwells, ends that are passed, switches, pauses, waits."""

from collections import Counter
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from coordinator.motion.plan import Part
from coordinator.motion.points import PlannedMove
from protocol.constants import US

MOST_MARKS: Final = 1_000
"""Of each kind: more would not be told apart in a picture."""


class MarkKind(StrEnum):
    """What a mark tells of."""

    DWELL = "dwell"
    """G4: the arm rests."""
    PASSED = "passed"
    """A move's end through which the arm goes without a rest."""
    OVERTRAVEL = "overtravel"
    """Joints turn beyond a move's end and back, to arrive from their approach side."""
    OUTPUT = "output"
    """An output is switched."""
    PAUSE = "pause"
    """The arm rests until the operator goes on; it takes no path time."""
    WAIT = "wait"
    """The arm rests until an input is as it should be; it takes no path time."""


@dataclass(frozen=True, slots=True)
class CurveMark:
    """Something in a program at a path time."""

    kind: MarkKind
    begin_s: float
    end_s: float
    """As `begin_s`, but for a dwell and an overtravel."""
    line: int
    """Of the program."""
    name: str = ""
    """Of the output that is switched or of the input that is awaited; empty for other kinds."""
    on: bool | None = None
    """What it is switched to, or must be; None for other kinds."""


class Marks:
    """Marks as they are met, in order of time: the first of each kind, and how many more."""

    def __init__(self) -> None:
        self.kept: list[CurveMark] = []
        self._met: Counter[MarkKind] = Counter()

    @property
    def more(self) -> dict[str, int]:
        """By kind, how many were met and not kept, where there are any."""
        return {kind.value: met - MOST_MARKS for kind, met in self._met.items() if met > MOST_MARKS}

    def of_move(self, move: PlannedMove, begun_us: int) -> None:
        """What a move marks, of a part that began at this path time of the program."""
        begin_us = begun_us + move.start_us
        end_us = begin_us + move.duration_us
        if move.switch is not None:
            name = move.switch.output.output
            self._keep(MarkKind.OUTPUT, end_us, end_us, move.line, name, move.switch.on)
        elif move.dwell:
            if move.duration_us:
                self._keep(MarkKind.DWELL, begin_us, end_us, move.line)
        elif move.is_passed:
            self._keep(MarkKind.PASSED, end_us, end_us, move.line)
        elif move.overtravel:
            self._keep(MarkKind.OVERTRAVEL, end_us - move.overtravel_us, end_us, move.line)

    def of_end(self, part: Part, end_us: int) -> None:
        """The pause or the wait that ends a part."""
        if part.awaits is not None:
            wait = part.awaits.wait
            self._keep(MarkKind.WAIT, end_us, end_us, part.awaits.line, wait.input, wait.level)
        elif part.pause_line is not None:
            self._keep(MarkKind.PAUSE, end_us, end_us, part.pause_line)

    def _keep(
        self,
        kind: MarkKind,
        begin_us: int,
        end_us: int,
        line: int,
        name: str = "",
        on: bool | None = None,
    ) -> None:
        self._met[kind] += 1
        if self._met[kind] <= MOST_MARKS:
            self.kept.append(CurveMark(kind, begin_us / US, end_us / US, line, name, on))
