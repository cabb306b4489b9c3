"""A sequence written anew from what a program was read as."""

from dataclasses import dataclass, replace

from coordinator.teaching.changes import Change, WaypointSet
from coordinator.teaching.known import Circumstances, free_name, replaced, require_room, sequence_of
from coordinator.teaching.program import ReadVisit
from coordinator.teaching.taught import Taught, Visit, Waypoint


@dataclass(frozen=True, slots=True)
class Rewrite:
    """Make a sequence what was read.

    A waypoint is known by its name: where its angles are others, it is changed for all sequences
    that visit it. One without a name is new.
    """

    sequence: int
    visits: tuple[ReadVisit, ...]

    def change(self, taught: Taught, known: Circumstances) -> Change:
        """Visits, and waypoints that are new, others, or not visited any more."""
        sequence = sequence_of(taught, self.sequence)
        by_name = {one.name.casefold(): one for one in taught.waypoints.values()}
        taken = {*by_name, *(read.name.casefold() for read in self.visits)}
        waypoints: list[WaypointSet] = []
        after: list[Visit] = []
        for read in self.visits:
            name = read.name or free_name(taken, len(by_name) + 1)
            taken.add(name.casefold())
            place = by_name.get(name.casefold())
            if place is None or place.angles_deg != read.angles_deg:
                changed = Waypoint(
                    place.id if place else known.fresh(),
                    place.name if place else name,
                    read.angles_deg,
                )
                by_name[name.casefold()] = changed
                waypoints.append(WaypointSet(changed.id, place, changed))
                place = changed
            after.append(replace(read.visit, waypoint=place.id))
        new = sum(step.before is None for step in waypoints)
        require_room(taught, len(after) - len(sequence.visits), new)
        return (*waypoints, *replaced(taught, sequence, 0, len(sequence.visits), tuple(after)))

    def words(self, taught: Taught) -> str:
        """As a clause."""
        return f"wrote the program of {sequence_of(taught, self.sequence).name!r}"
