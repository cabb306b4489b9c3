"""What is queued to be played one after another."""

from dataclasses import dataclass
from enum import StrEnum

from coordinator.programs.options import PlayOptions


class EntryState(StrEnum):
    """How far one entry is."""

    WAITS = "waits"
    PLAYS = "plays"
    """It is planned, or its run goes on."""
    FINISHED = "finished"
    ENDED = "ended"
    """It did not finish, and the queue ended with it."""


@dataclass(frozen=True, slots=True)
class QueueEntry:
    """A sequence or kept program in the queue."""

    id: int
    """Of the entry: one thing may stand there twice."""
    taught: int
    """Id of the sequence or kept program, which is played as it is kept when its turn comes."""
    name: str
    """What that was called when it was added, or played."""
    options: PlayOptions
    """How it is played."""
    state: EntryState
    run: int | None
    """The run that played it last; None before."""
    why: str | None = None
    """Why it did not begin or finish when its turn came last; None where it did, or never came."""


@dataclass(frozen=True, slots=True)
class Queue:
    """Entries in the order in which they are played."""

    revision: int
    """Grows with every edit; whoever edits or plays names the one that they saw."""
    entries: tuple[QueueEntry, ...]
    playing: bool
    """Whether the next entry begins without another command."""
    message: str
    """Why it ended before its end, a sentence; empty where there is nothing to say."""
