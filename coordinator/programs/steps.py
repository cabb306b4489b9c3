"""What a program consists of once it is read: steps in the order of their execution."""

from dataclasses import dataclass


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


@dataclass(frozen=True, slots=True)
class Dwell:
    """G4: rest for a time."""

    line: int
    column: int
    seconds: float


@dataclass(frozen=True, slots=True)
class Pause:
    """M0: stop until the operator goes on."""

    line: int


@dataclass(frozen=True, slots=True)
class End:
    """M2, M30, or the second % line."""

    line: int


Step = Move | Dwell | Pause | End


@dataclass(frozen=True, slots=True)
class Program:
    """The steps of a program; the last is its `End`."""

    steps: tuple[Step, ...]
    unread_line: int | None = None
    """The first line behind its end that has text, which is not read; None where there is none."""
