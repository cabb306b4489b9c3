"""Lines of the journal, and runs in short."""

from dataclasses import dataclass

from coordinator.codes.level import Level
from coordinator.codes.outcome import Outcome


@dataclass(frozen=True, slots=True)
class RunInShort:
    """A run in a list."""

    run: int
    """Its number."""
    name: str
    outcome: Outcome
    began_utc: str | None
    """By the wall clock, as the next."""
    ended_utc: str | None
    taught: int | None
    """Id of the sequence or kept program that it played; None for any other text."""


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened or was commanded."""

    id: int
    """Grows with time."""
    utc: str
    at_us: int
    """Arm time, which holds within one session of a coordinator."""
    level: Level
    code: str
    """Stable, for programs."""
    message: str
    joint: str | None
    """The joint that it is about."""
    who: str | None
    """Who commanded it."""
    detail: bool
    """A part of something that has a line of its own: only with `details=true`."""
