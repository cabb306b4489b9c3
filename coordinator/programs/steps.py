"""What a program consists of once it is read: steps in the order of their execution."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from coordinator.config.problems import Problem


class PathControl(StrEnum):
    """How a move's end is passed (NISTIR 6556 §3.5.14)."""

    EXACT_STOP = "G61.1"
    """At rest."""
    EXACT_PATH = "G61"
    """On the programmed path."""
    CONTINUOUS = "G64"
    """Without a rest, and near the programmed corner."""


@dataclass(frozen=True, slots=True)
class Target:
    """Where a joint word sends a joint."""

    joint: int
    """Index of the joint, base to tool."""
    degrees: float
    """Absolute, or a distance in a relative move."""
    column: int
    """Of the word, from 1."""


@dataclass(frozen=True, slots=True)
class Move:
    """A straight move in joint space. Joints without a target stay where they are.

    Where the program asks for a pace, either `feed_deg_min` (G94) or `nominal_s` (G93) is set; a
    rapid move has neither.
    """

    line: int
    column: int
    """Of the word that causes the move, from 1."""
    targets: tuple[Target, ...]
    relative: bool
    """G91: targets are distances from where the move begins."""
    rapid: bool
    """G0: as fast as the joints allow."""
    feed_deg_min: float | None = None
    """Degrees per minute along the move, all joints taken together (NISTIR 6556 §2.1.2.5)."""
    nominal_s: float | None = None
    """Time that the move is to take, without what acceleration adds."""
    share: float = 1.0
    """Of the joints' velocity limits, for a rapid move."""
    path_control: PathControl = PathControl.EXACT_STOP
    """What was in force when it was made."""
    tolerance_deg: float | None = None
    """P of G64: how far from its corners the path may be in joint space, degrees, above 0; None
    where the program says nothing of it, and in the other modes."""
    approach: bool = False
    """It leads to where a program would be as the line begins from which it is played."""
    comment: str = ""
    """The first ordinary one on its line, without blanks around it."""


@dataclass(frozen=True, slots=True)
class Dwell:
    """G4: rest for a time."""

    line: int
    column: int
    seconds: float


@dataclass(frozen=True, slots=True)
class Output:
    """M3, M5, M8 or M9: switch a tool's output."""

    line: int
    column: int
    word: str


@dataclass(frozen=True, slots=True)
class Pause:
    """M0, M60 or M1: stop until the operator goes on."""

    line: int
    optional: bool = False
    """M1: only while the operator's optional stop switch is on."""


@dataclass(frozen=True, slots=True)
class End:
    """M2, M30, or the second % line."""

    line: int


Step = Move | Dwell | Output | Pause | End


@dataclass(frozen=True, slots=True)
class Program:
    """The steps of a program; the last is its `End`."""

    steps: Sequence[Step]
    letters: tuple[str, ...]
    """The joints' letters in it, base to tool."""
    unread_line: int | None = None
    """The first line behind its end that has text, which is not read; None where there is none."""
    remarks: tuple[Problem, ...] = ()
    """What was read, is no mistake, and may not be meant; in file order."""
    entry: Sequence[Step] = ()
    """What is played in place of `steps` the first time; empty where it begins at its beginning."""

    @property
    def first_steps(self) -> Sequence[Step]:
        """What is played the first time."""
        return self.entry or self.steps


@dataclass(frozen=True, slots=True)
class Switches:
    """What the operator has set before a program is played (block delete and optional stop: NISTIR
    6556 §2.2.7, from memory).
    """

    block_delete: bool = False
    """Lines that begin with a slash are left out, unread."""
    optional_stop: bool = False
    """M1 stops as M0 does."""
    step_by_line: bool = False
    """After each line that moves, rests or switches something the arm waits for the operator."""
    from_line: int | None = None
    """Begin at this line of the text; None for the beginning."""


NO_SWITCHES: Final = Switches()
