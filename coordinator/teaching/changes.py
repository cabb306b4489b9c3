"""How what was taught changes: small steps, each of which can be taken back exactly.

A change is a tuple of these; its inverse is the inverse of each, in reverse. What a step finds
must be what it was made for, so that a change is never applied to another state by mistake.
"""

from collections.abc import Sequence as Many
from dataclasses import dataclass, replace
from typing import Literal

from coordinator.teaching.taught import KeptProgram, Sequence, Taught, Visit, Waypoint


class Contradiction(ValueError):
    """A step is not of this state: the text says where."""


@dataclass(frozen=True, slots=True)
class WaypointSet:
    """A waypoint became another; None where there was or is none."""

    id: int
    before: Waypoint | None
    after: Waypoint | None
    type: Literal["waypoint"] = "waypoint"


@dataclass(frozen=True, slots=True)
class ProgramSet:
    """A kept program became another; None where there was or is none."""

    id: int
    before: KeptProgram | None
    after: KeptProgram | None
    type: Literal["program"] = "program"


@dataclass(frozen=True, slots=True)
class SequenceNamed:
    """A sequence got another name; None where there was or is none. It comes and goes empty."""

    id: int
    before: str | None
    after: str | None
    type: Literal["name"] = "name"


@dataclass(frozen=True, slots=True)
class VisitsSet:
    """At a place of a sequence, some visits in place of others."""

    sequence: int
    at: int
    removed: tuple[Visit, ...]
    inserted: tuple[Visit, ...]
    type: Literal["visits"] = "visits"


Step = WaypointSet | ProgramSet | SequenceNamed | VisitsSet
Change = tuple[Step, ...]


def inverse(change: Many[Step]) -> Change:
    """What takes a change back."""
    return tuple(_inverse(step) for step in reversed(change))


def _inverse(step: Step) -> Step:
    if isinstance(step, VisitsSet):
        return replace(step, removed=step.inserted, inserted=step.removed)
    if isinstance(step, WaypointSet):
        return replace(step, before=step.after, after=step.before)
    if isinstance(step, ProgramSet):
        return replace(step, before=step.after, after=step.before)
    return replace(step, before=step.after, after=step.before)


def applied(taught: Taught, change: Many[Step]) -> Taught:
    """What was taught after a change. Raises Contradiction, with nothing changed."""
    draft = Draft(taught)
    for step in change:
        draft.apply(step)
    return draft.taught


class Draft:
    """What was taught while changes are made, step after step: many cost no more than few."""

    def __init__(self, taught: Taught) -> None:
        self._waypoints = dict(taught.waypoints)
        self._programs = dict(taught.programs)
        self._names = {one.id: one.name for one in taught.sequences.values()}
        self._visits = {one.id: list(one.visits) for one in taught.sequences.values()}

    @property
    def taught(self) -> Taught:
        """As it is now."""
        sequences = {
            number: Sequence(number, name, tuple(self._visits[number]))
            for number, name in self._names.items()
        }
        return Taught(self._waypoints, sequences, self._programs)

    def apply(self, step: Step) -> None:
        """Make one step. Raises Contradiction."""
        match step:
            case WaypointSet(id=id, before=before, after=after):
                _require(self._waypoints.get(id) == before, f"waypoint {id}")
                if after is None:
                    del self._waypoints[id]
                else:
                    self._waypoints[id] = after
            case ProgramSet(id=id, before=before_it, after=after_it):
                _require(self._programs.get(id) == before_it, f"program {id}")
                if after_it is None:
                    del self._programs[id]
                else:
                    self._programs[id] = after_it
            case SequenceNamed(id=id, before=name, after=becomes):
                _require(self._names.get(id) == name, f"the name of sequence {id}")
                if becomes is None:
                    _require(not self._visits.get(id, [None]), f"sequence {id}, not empty")
                    del self._names[id], self._visits[id]
                else:
                    self._names[id] = becomes
                    self._visits.setdefault(id, [])
            case VisitsSet(sequence=id, at=at, removed=removed, inserted=inserted):
                _require(id in self._names, f"sequence {id}")
                visits, end = self._visits[id], at + len(removed)
                _require(0 <= at <= len(visits), f"a place in sequence {id}")
                _require(tuple(visits[at:end]) == removed, f"visits of sequence {id}")
                visits[at:end] = inserted


def _require(is_so: bool, what: str) -> None:
    if not is_so:
        raise Contradiction(f"{what} is not what the change was made for")


def touched(change: Many[Step], before: Taught) -> set[int]:
    """Sequences and programs that a change is about, also by a waypoint visited before."""
    found = set()
    for step in change:
        match step:
            case WaypointSet(id=id):
                found |= {sequence.id for sequence in before.users_of(id)}
            case SequenceNamed(id=id) | ProgramSet(id=id) | VisitsSet(sequence=id):
                found.add(id)
    return found
