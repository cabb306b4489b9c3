"""Programs that are kept, changed, go and get other names."""

from dataclasses import dataclass, replace
from typing import ClassVar, Literal

from coordinator.programs.size import size_mistake
from coordinator.teaching.changes import Change, ProgramSet
from coordinator.teaching.known import (
    NOTHING_ELSE,
    Circumstances,
    Id,
    program_name,
    program_of,
    shown,
)
from coordinator.teaching.taught import MAX_PROGRAMS, KeptProgram, Taught, TaughtError


@dataclass(frozen=True, slots=True)
class KeepProgram:
    """A new program, or another text for one that is named. Mistakes in it are no matter yet."""

    __pydantic_config__: ClassVar = NOTHING_ELSE
    type: Literal["keep-program"]
    text: str
    name: str = ""
    """Of a new one."""
    program: Id | None = None
    instead_of: str | None = None
    """SHA-256 of the text that whoever writes has seen: with another one nothing is changed."""

    def change(self, taught: Taught, known: Circumstances) -> Change:
        """One program more, or its text."""
        before = None if self.program is None else program_of(taught, self.program)
        if before is not None and self.instead_of not in (None, before.sha256):
            raise TaughtError(
                f"{before.name!r} was kept with another text since you took it: look at that first"
            )
        name = program_name(self.name, taught) if before is None else before.name
        if sentence := size_mistake(name, len(self.text.encode(errors="replace"))):
            raise TaughtError(sentence)
        if before is not None:
            after = replace(before, sha256=known.keep(self.text))
            return () if after == before else (ProgramSet(before.id, before, after),)
        if len(taught.programs) >= MAX_PROGRAMS:
            raise TaughtError(f"there are {MAX_PROGRAMS} programs, no more are kept")
        new = KeptProgram(known.fresh(), name, known.keep(self.text))
        return (ProgramSet(new.id, None, new),)

    def words(self, taught: Taught) -> str:
        """As a clause."""
        if self.program is None:
            return f"kept program {shown(self.name)!r}"
        return f"wrote program {program_of(taught, self.program).name!r}"


@dataclass(frozen=True, slots=True)
class RenameProgram:
    """Another name for a program."""

    __pydantic_config__: ClassVar = NOTHING_ELSE
    type: Literal["rename-program"]
    program: Id
    name: str

    def change(self, taught: Taught, known: Circumstances) -> Change:
        """The name."""
        before = program_of(taught, self.program)
        after = replace(before, name=program_name(self.name, taught, before.id))
        return (ProgramSet(before.id, before, after),) if after != before else ()

    def words(self, taught: Taught) -> str:
        """As a clause."""
        return f"renamed program {program_of(taught, self.program).name!r} to {shown(self.name)!r}"


@dataclass(frozen=True, slots=True)
class DeleteProgram:
    """No such program any more."""

    __pydantic_config__: ClassVar = NOTHING_ELSE
    type: Literal["delete-program"]
    program: Id

    def change(self, taught: Taught, known: Circumstances) -> Change:
        """It goes."""
        gone = program_of(taught, self.program)
        return (ProgramSet(gone.id, gone, None),)

    def words(self, taught: Taught) -> str:
        """As a clause."""
        return f"deleted program {program_of(taught, self.program).name!r}"
