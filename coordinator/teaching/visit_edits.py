"""Visits of a sequence: recorded, inserted, moved, set."""

from dataclasses import dataclass, replace
from typing import ClassVar, Literal

from coordinator.motion.route import MAX_STEP_S
from coordinator.teaching.changes import Change, VisitsSet, WaypointSet, applied
from coordinator.teaching.known import (
    NOTHING_ELSE,
    Circumstances,
    Figure,
    Flag,
    Id,
    Index,
    free_name,
    names_of,
    place,
    replaced,
    require_room,
    sequence_of,
    shown,
    visit_of,
    visit_words,
    waypoint_name,
    waypoint_of,
)
from coordinator.teaching.sequence_edits import AddSequence
from coordinator.teaching.taught import DIGITS, Taught, TaughtError, Visit, Waypoint, rounded


@dataclass(frozen=True, slots=True)
class Record:
    """The place where the arm stands, as a new waypoint that a sequence visits."""

    __pydantic_config__: ClassVar = NOTHING_ELSE
    type: Literal["record"]
    sequence: Id | None = None
    at: Index | None = None
    """Index of the new visit; at the end without."""
    name: str = ""
    """Of the waypoint; one is found without."""
    new: str = ""
    """Name of a sequence that is added for it, where none is named that is there."""

    def change(self, taught: Taught, known: Circumstances) -> Change:
        """A waypoint and a visit."""
        if self.sequence is None:
            added, new = AddSequence("add-sequence", self.new).added(taught, known)
            into = replace(self, sequence=new)
            return (*added, *into.change(applied(taught, added), known))
        sequence = sequence_of(taught, self.sequence)
        at = place(sequence, self.at)
        require_room(taught, 1, waypoints=1)
        name = waypoint_name(self.name, taught) if self.name.strip() else _free_name(taught)
        waypoint = Waypoint(known.fresh(), name, rounded(known.angles_deg()))
        return (
            WaypointSet(waypoint.id, None, waypoint),
            VisitsSet(sequence.id, at, (), (Visit(waypoint.id),)),
        )

    def words(self, taught: Taught) -> str:
        """As a clause."""
        name = shown(self.name) or _free_name(taught)
        if self.sequence is None:
            return f"recorded {name!r} in {shown(self.new)!r}, a new sequence"
        return f"recorded {name!r} in {sequence_of(taught, self.sequence).name!r}"


@dataclass(frozen=True, slots=True)
class Insert:
    """One visit more, to a waypoint that is there."""

    __pydantic_config__: ClassVar = NOTHING_ELSE
    type: Literal["insert"]
    sequence: Id
    waypoint: Id
    at: Index | None = None

    def change(self, taught: Taught, known: Circumstances) -> Change:
        """A visit."""
        sequence = sequence_of(taught, self.sequence)
        waypoint_of(taught, self.waypoint)
        require_room(taught, 1)
        at = place(sequence, self.at)
        return (VisitsSet(sequence.id, at, (), (Visit(self.waypoint),)),)

    def words(self, taught: Taught) -> str:
        """As a clause."""
        waypoint = waypoint_of(taught, self.waypoint).name
        return f"inserted {waypoint!r} in {sequence_of(taught, self.sequence).name!r}"


@dataclass(frozen=True, slots=True)
class Duplicate:
    """The same visit once more, right behind it."""

    __pydantic_config__: ClassVar = NOTHING_ELSE
    type: Literal["duplicate"]
    sequence: Id
    at: Index

    def change(self, taught: Taught, known: Circumstances) -> Change:
        """A visit."""
        visit = visit_of(taught, self.sequence, self.at)
        require_room(taught, 1)
        return (VisitsSet(self.sequence, self.at + 1, (), (visit,)),)

    def words(self, taught: Taught) -> str:
        """As a clause."""
        return f"duplicated {visit_words(taught, self.sequence, self.at)}"


@dataclass(frozen=True, slots=True)
class Remove:
    """One visit less; its waypoint goes too where no other visit is left of it."""

    __pydantic_config__: ClassVar = NOTHING_ELSE
    type: Literal["remove"]
    sequence: Id
    at: Index

    def change(self, taught: Taught, known: Circumstances) -> Change:
        """A visit, and maybe its waypoint."""
        visit_of(taught, self.sequence, self.at)
        return replaced(taught, sequence_of(taught, self.sequence), self.at, self.at + 1, ())

    def words(self, taught: Taught) -> str:
        """As a clause."""
        return f"deleted {visit_words(taught, self.sequence, self.at)}"


@dataclass(frozen=True, slots=True)
class Move:
    """A visit to another place of its sequence."""

    __pydantic_config__: ClassVar = NOTHING_ELSE
    type: Literal["move"]
    sequence: Id
    at: Index
    to: Index
    """Its index afterwards."""

    def change(self, taught: Taught, known: Circumstances) -> Change:
        """The order."""
        sequence = sequence_of(taught, self.sequence)
        visit_of(taught, self.sequence, self.at)
        visit_of(taught, self.sequence, self.to)
        if self.at == self.to:
            return ()
        first, end = min(self.at, self.to), max(self.at, self.to) + 1
        before = sequence.visits[first:end]
        after = list(before)
        after.insert(self.to - first, after.pop(self.at - first))
        return (VisitsSet(sequence.id, first, before, tuple(after)),)

    def words(self, taught: Taught) -> str:
        """As a clause."""
        return f"moved {visit_words(taught, self.sequence, self.at)} to place {self.to + 1}"


@dataclass(frozen=True, slots=True)
class SetVisit:
    """How a waypoint is visited at one place of a sequence."""

    __pydantic_config__: ClassVar = NOTHING_ELSE
    type: Literal["set-visit"]
    sequence: Id
    at: Index
    speed_percent: Figure | None = None
    passing: Flag | None = None
    outputs: list[str] | None = None
    dwell_s: Figure | None = None
    """What is not named stays."""

    def change(self, taught: Taught, known: Circumstances) -> Change:
        """One visit."""
        before = after = visit_of(taught, self.sequence, self.at)
        if self.speed_percent is not None:
            if not 0.00001 <= self.speed_percent <= 100.0:
                raise TaughtError(
                    f"a speed of {self.speed_percent:g} %: above 0 and up to 100 are possible"
                )
            after = replace(after, speed_percent=round(self.speed_percent, DIGITS))
        if self.passing is not None:
            after = replace(after, passing=self.passing)
        if self.outputs is not None:
            words = [word for one in known.arm.tool_outputs for word in (one.on, one.off)]
            for word in self.outputs:
                if word not in words:
                    there = f"there are {' '.join(words)}" if words else "this arm has none"
                    raise TaughtError(f"{word!r} switches no output; {there}")
            if len(self.outputs) > len(words):
                raise TaughtError(f"{len(self.outputs)} outputs to switch, at most {len(words)}")
            after = replace(after, outputs=tuple(self.outputs))
        if self.dwell_s is not None:
            if not 0.0 <= self.dwell_s <= MAX_STEP_S:
                raise TaughtError(
                    f"a dwell of {self.dwell_s:g} s: 0 to {MAX_STEP_S:g} s are possible"
                )
            after = replace(after, dwell_s=round(self.dwell_s, DIGITS))
        if after == before:
            return ()
        return (VisitsSet(self.sequence, self.at, (before,), (after,)),)

    def words(self, taught: Taught) -> str:
        """As a clause."""
        return f"changed {visit_words(taught, self.sequence, self.at)}"


def _free_name(taught: Taught) -> str:
    return free_name(names_of(taught), len(taught.waypoints) + 1)
