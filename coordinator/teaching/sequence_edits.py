"""Sequences that come, go and get other names."""

from dataclasses import dataclass
from typing import ClassVar, Literal

from coordinator.teaching.changes import Change, SequenceNamed, Step, VisitsSet
from coordinator.teaching.known import (
    NOTHING_ELSE,
    Circumstances,
    Id,
    replaced,
    require_room,
    sequence_name,
    sequence_of,
    shown,
)
from coordinator.teaching.taught import MAX_SEQUENCES, Taught, TaughtError


@dataclass(frozen=True, slots=True)
class AddSequence:
    """A new sequence, with the visits of another one if that is named."""

    __pydantic_config__: ClassVar = NOTHING_ELSE
    type: Literal["add-sequence"]
    name: str
    like: Id | None = None

    def change(self, taught: Taught, known: Circumstances) -> Change:
        """One sequence more."""
        return self.added(taught, known)[0]

    def added(self, taught: Taught, known: Circumstances) -> tuple[Change, int]:
        """One sequence more, and its id."""
        if len(taught.sequences) >= MAX_SEQUENCES:
            raise TaughtError(f"there are {MAX_SEQUENCES} sequences, no more are kept")
        name, new = sequence_name(self.name, taught), known.fresh()
        steps: list[Step] = [SequenceNamed(new, None, name)]
        if self.like is not None and (visits := sequence_of(taught, self.like).visits):
            require_room(taught, len(visits))
            steps.append(VisitsSet(new, 0, (), visits))
        return tuple(steps), new

    def words(self, taught: Taught) -> str:
        """As a clause."""
        if self.like is None:
            return f"added sequence {shown(self.name)!r}"
        return f"copied sequence {sequence_of(taught, self.like).name!r} as {shown(self.name)!r}"


@dataclass(frozen=True, slots=True)
class RenameSequence:
    """Another name for a sequence."""

    __pydantic_config__: ClassVar = NOTHING_ELSE
    type: Literal["rename-sequence"]
    sequence: Id
    name: str

    def change(self, taught: Taught, known: Circumstances) -> Change:
        """The name."""
        before = sequence_of(taught, self.sequence)
        name = sequence_name(self.name, taught, before.id)
        return (SequenceNamed(before.id, before.name, name),) if name != before.name else ()

    def words(self, taught: Taught) -> str:
        """As a clause."""
        return (
            f"renamed sequence {sequence_of(taught, self.sequence).name!r} to {shown(self.name)!r}"
        )


@dataclass(frozen=True, slots=True)
class DeleteSequence:
    """No such sequence any more, nor the waypoints that only it visited."""

    __pydantic_config__: ClassVar = NOTHING_ELSE
    type: Literal["delete-sequence"]
    sequence: Id

    def change(self, taught: Taught, known: Circumstances) -> Change:
        """All of it goes."""
        gone = sequence_of(taught, self.sequence)
        return (
            *replaced(taught, gone, 0, len(gone.visits), ()),
            SequenceNamed(gone.id, gone.name, None),
        )

    def words(self, taught: Taught) -> str:
        """As a clause."""
        return f"deleted sequence {sequence_of(taught, self.sequence).name!r}"
