"""What every edit needs: what is there, by number and name, and how much room is left."""

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass
from typing import Annotated, Final

from pydantic import Strict

from coordinator.config.arm import Arm
from coordinator.teaching.changes import Change, Step, VisitsSet, WaypointSet
from coordinator.teaching.taught import (
    MAX_VISITS,
    MAX_WAYPOINTS,
    KeptProgram,
    Sequence,
    Taught,
    TaughtError,
    Visit,
    Waypoint,
    a_name,
)

NOTHING_ELSE: Final = {"extra": "forbid"}
"""Of edits from outside, as pydantic takes them: a member that is not known is a mistake."""
Id = Annotated[int, Strict()]
Index = Annotated[int, Strict()]
Figure = Annotated[float, Strict()]
Flag = Annotated[bool, Strict()]


class NoSuch(TaughtError):
    """There is no waypoint, sequence, program or place of that number."""


@dataclass(frozen=True, slots=True)
class Circumstances:
    """What an edit may need beside what was taught."""

    arm: Arm
    fresh: Callable[[], int]
    """A number that no waypoint, no sequence and no program ever had."""
    keep: Callable[[str], str]
    """Keep a text with the change; what it is named by."""
    angles_deg: Callable[[], Mapping[str, float]]
    """Where the arm stands, by joint. Raises Refused where that is not sure."""


def sequence_of(taught: Taught, number: int) -> Sequence:
    """A sequence by its number. Raises NoSuch."""
    if number not in taught.sequences:
        raise NoSuch(f"there is no sequence {number}")
    return taught.sequences[number]


def program_of(taught: Taught, number: int) -> KeptProgram:
    """A kept program by its number. Raises NoSuch."""
    if number not in taught.programs:
        raise NoSuch(f"there is no program {number}")
    return taught.programs[number]


def waypoint_of(taught: Taught, number: int) -> Waypoint:
    """A waypoint by its number. Raises NoSuch."""
    if number not in taught.waypoints:
        raise NoSuch(f"there is no waypoint {number}")
    return taught.waypoints[number]


def visit_of(taught: Taught, number: int, at: int) -> Visit:
    """A sequence's visit at an index. Raises NoSuch."""
    sequence = sequence_of(taught, number)
    if not 0 <= at < len(sequence.visits):
        raise NoSuch(f"{sequence.name!r} has {len(sequence.visits)} visits, and none at index {at}")
    return sequence.visits[at]


def place(sequence: Sequence, at: int | None) -> int:
    """Where a new visit goes, at the end without. Raises NoSuch."""
    if at is None:
        return len(sequence.visits)
    if not 0 <= at <= len(sequence.visits):
        raise NoSuch(f"{sequence.name!r} has {len(sequence.visits)} visits: no place at index {at}")
    return at


def replaced(
    taught: Taught, sequence: Sequence, at: int, end: int, inserted: tuple[Visit, ...]
) -> Change:
    """Visits in place of others; waypoints that nobody visits any more go."""
    removed = sequence.visits[at:end]
    kept = (*sequence.visits[:at], *inserted, *sequence.visits[end:])
    still = {visit.waypoint for visit in kept}
    still |= {
        visit.waypoint
        for other in taught.sequences.values()
        if other.id != sequence.id
        for visit in other.visits
    }
    gone = dict.fromkeys(visit.waypoint for visit in removed if visit.waypoint not in still)
    steps: list[Step] = []
    if removed != inserted:
        steps.append(VisitsSet(sequence.id, at, removed, inserted))
    steps += [WaypointSet(one, taught.waypoints[one], None) for one in gone]
    return tuple(steps)


def require_room(taught: Taught, visits: int, waypoints: int = 0) -> None:
    """Raise TaughtError where so many more are too many."""
    all_visits = sum(len(sequence.visits) for sequence in taught.sequences.values())
    if all_visits + visits > MAX_VISITS:
        raise TaughtError(f"{all_visits + visits} visits, at most {MAX_VISITS} are kept")
    if len(taught.waypoints) + waypoints > MAX_WAYPOINTS:
        raise TaughtError(
            f"{len(taught.waypoints) + waypoints} waypoints, at most {MAX_WAYPOINTS} are kept"
        )


def waypoint_name(text: str, taught: Taught, but: int | None = None) -> str:
    """A name that no waypoint has, but the one that is named anew. Raises TaughtError."""
    name = a_name(text, "waypoint")
    other = taught.named(name)
    if other is not None and other.id != but:
        raise TaughtError(f"there is a waypoint {other.name!r} already")
    return name


def sequence_name(text: str, taught: Taught, but: int | None = None) -> str:
    """A name that no sequence has, but the one that is named anew. Raises TaughtError."""
    return _free(text, "sequence", taught.sequences.values(), but)


def program_name(text: str, taught: Taught, but: int | None = None) -> str:
    """A name that no program has, but the one that is named anew. Raises TaughtError."""
    return _free(text, "program", taught.programs.values(), but)


def _free(text: str, what: str, others: Iterable[Sequence | KeptProgram], but: int | None) -> str:
    name = a_name(text, what)
    for other in others:
        if other.name.casefold() == name.casefold() and other.id != but:
            raise TaughtError(f"there is a {what} {other.name!r} already")
    return name


def free_name(taken: Collection[str], number: int) -> str:
    """A name for a waypoint that has none, from this number on; `taken` are those of others."""
    while f"waypoint {number}" in taken:
        number += 1
    return f"waypoint {number}"


def names_of(taught: Taught) -> set[str]:
    """Names of all waypoints, in small letters."""
    return {one.name.casefold() for one in taught.waypoints.values()}


def shown(text: str) -> str:
    """A name as it is kept, whether it can be or not."""
    return " ".join(text.split())


def visit_words(taught: Taught, number: int, at: int) -> str:
    """A visit for people. Raises NoSuch."""
    waypoint = taught.waypoints[visit_of(taught, number, at).waypoint]
    return f"{waypoint.name!r} at place {at + 1} of {sequence_of(taught, number).name!r}"
