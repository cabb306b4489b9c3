"""What was taught, as it is told."""

from dataclasses import dataclass

from coordinator.answers.records import RunInShort
from coordinator.teaching.shifted_text import ChangedLine
from coordinator.teaching.taught import KeptProgram, Sequence, Waypoint


@dataclass(frozen=True, slots=True)
class TaughtSnapshot:
    """Waypoints, sequences and programs as they are now."""

    revision: int
    """Grows with every change, undo and redo; whoever edits names the one that they saw."""
    waypoints: tuple[Waypoint, ...]
    sequences: tuple[Sequence, ...]
    programs: tuple[KeptProgram, ...]
    undo: str | None
    """What undo would take back, a clause."""
    redo: str | None
    """What redo would do again, a clause."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TaughtResult(RunInShort):
    """The newest run of something that is kept."""

    same_text: bool
    """Whether what is kept still has the text that was played."""


@dataclass(frozen=True, slots=True)
class ProgramPreview:
    """What a shift would make of a program."""

    program: KeptProgram
    changed: int
    """Lines that would be others."""
    lines: tuple[ChangedLine, ...]
    """The first of them."""
    obstacles: tuple[str, ...]
    """What keeps it from being shifted, a sentence each; nothing is shifted then."""
