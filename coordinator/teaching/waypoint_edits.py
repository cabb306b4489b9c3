"""Waypoints, which change in all sequences that visit them."""

from dataclasses import dataclass, replace
from typing import ClassVar, Literal

from coordinator.teaching.changes import Change, WaypointSet
from coordinator.teaching.known import (
    NOTHING_ELSE,
    Circumstances,
    Id,
    shown,
    waypoint_name,
    waypoint_of,
)
from coordinator.teaching.taught import Taught, rounded


@dataclass(frozen=True, slots=True)
class RenameWaypoint:
    """Another name for a waypoint, in all sequences."""

    __pydantic_config__: ClassVar = NOTHING_ELSE
    type: Literal["rename-waypoint"]
    waypoint: Id
    name: str

    def change(self, taught: Taught, known: Circumstances) -> Change:
        """The name."""
        before = waypoint_of(taught, self.waypoint)
        after = replace(before, name=waypoint_name(self.name, taught, before.id))
        return (WaypointSet(before.id, before, after),) if after != before else ()

    def words(self, taught: Taught) -> str:
        """As a clause."""
        return f"renamed {waypoint_of(taught, self.waypoint).name!r} to {shown(self.name)!r}"


@dataclass(frozen=True, slots=True)
class Overwrite:
    """A waypoint is where the arm stands now, in all sequences."""

    __pydantic_config__: ClassVar = NOTHING_ELSE
    type: Literal["overwrite"]
    waypoint: Id

    def change(self, taught: Taught, known: Circumstances) -> Change:
        """The angles."""
        before = waypoint_of(taught, self.waypoint)
        after = replace(before, angles_deg=rounded(known.angles_deg()))
        return (WaypointSet(before.id, before, after),) if after != before else ()

    def words(self, taught: Taught) -> str:
        """As a clause."""
        users = [sequence.name for sequence in taught.users_of(self.waypoint)]
        also = f", in {len(users)} sequences" if len(users) > 1 else ""
        return f"overwrote {waypoint_of(taught, self.waypoint).name!r}{also}"
