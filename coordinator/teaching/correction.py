"""All that was taught shifted joint by joint: a joint was swapped, its magnet moved, its home
corrected.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import ClassVar, Final, Literal

from coordinator.config.arm import Arm
from coordinator.teaching.changes import Change, ProgramSet, WaypointSet
from coordinator.teaching.known import (
    NOTHING_ELSE,
    Circumstances,
    Figure,
    Id,
    program_of,
    waypoint_of,
)
from coordinator.teaching.shifted_text import ShiftedText
from coordinator.teaching.taught import DIGITS, KeptProgram, Taught, TaughtError, Waypoint

_UNITS: Final = 10**DIGITS
MOST_TOLD: Final = 20
"""Lines of a program that are told because they keep it from being shifted."""


@dataclass(frozen=True, slots=True)
class Shifted:
    """One waypoint before and after."""

    before: Waypoint
    after: Waypoint
    out_of_range: tuple[str, ...]
    """Joints that would leave their range, a sentence each."""


@dataclass(frozen=True, slots=True)
class Shift:
    """Add an angle to joints of waypoints and programs: of those named, or of all if none are."""

    __pydantic_config__: ClassVar = NOTHING_ELSE
    type: Literal["shift"]
    offsets_deg: dict[str, Figure]
    """By joint."""
    why: str
    """What people read later: a clause."""
    waypoints: list[Id] | None = None
    programs: list[Id] | None = None

    def require_sound(self, arm: Arm) -> None:
        """Raise TaughtError for a joint that is not there or an offset that cannot be."""
        known = [joint.name for joint in arm.joints]
        for name, offset in self.offsets_deg.items():
            if name not in known:
                raise TaughtError(f"there is no joint {name!r}; this arm has {' '.join(known)}")
            if not abs(offset) <= 360.0:
                raise TaughtError(f"{name}: an offset of {offset:g}°: up to 360° are possible")

    def waypoints_of(self, taught: Taught) -> list[Waypoint]:
        """Those that it is to shift. Raises NoSuch."""
        if self.waypoints is None:
            return list(taught.waypoints.values()) if self.programs is None else []
        return [waypoint_of(taught, number) for number in dict.fromkeys(self.waypoints)]

    def programs_of(self, taught: Taught) -> list[KeptProgram]:
        """Those that it is to shift. Raises NoSuch."""
        if self.programs is None:
            return list(taught.programs.values()) if self.waypoints is None else []
        return [program_of(taught, number) for number in dict.fromkeys(self.programs)]

    def preview(self, taught: Taught, arm: Arm) -> list[Shifted]:
        """What would become of each waypoint. Raises TaughtError."""
        self.require_sound(arm)
        return [_shifted(one, self.offsets_deg, arm) for one in self.waypoints_of(taught)]


@dataclass(frozen=True, slots=True)
class ShiftedProgram:
    """One program before and after."""

    program: KeptProgram
    """Before."""
    after: ShiftedText

    def step(self, known: Circumstances) -> ProgramSet:
        """The program with its new text."""
        after = replace(self.program, sha256=known.keep(self.after.text))
        return ProgramSet(self.program.id, self.program, after)

    @property
    def obstacles(self) -> tuple[str, ...]:
        """What keeps it from being shifted, a sentence each."""
        name = self.program.name
        if self.after.mistakes:
            first = self.after.mistakes[0]
            told = f"program {name!r} has mistakes, the first on line {first.line}: {first.message}"
            return (f"{told}; mend it, or leave it out",)
        found = [f"program {name!r}, line {p.line}: {p.message}" for p in self.after.problems]
        more = len(found) - MOST_TOLD
        if more > 1:
            found[MOST_TOLD:] = [f"program {name!r} has {more} more such lines"]
        return tuple(found)


@dataclass(frozen=True, slots=True)
class Correction:
    """A shift with all the programs that it is about."""

    shift: Shift
    programs: tuple[ShiftedProgram, ...]

    def change(self, taught: Taught, known: Circumstances) -> Change:
        """Refused as a whole where one waypoint or program cannot be shifted."""
        if not " ".join(self.shift.why.split()):
            raise TaughtError("a shift needs a reason, for who looks later")
        found = self.shift.preview(taught, known.arm)
        out = [told for one in found for told in one.out_of_range]
        out += [told for one in self.programs for told in one.obstacles]
        if out:
            more = f", and {len(out) - 1} more" if len(out) > 1 else ""
            raise TaughtError(f"{out[0]}{more}; nothing was shifted")
        waypoints = (
            WaypointSet(one.before.id, one.before, one.after)
            for one in found
            if one.after != one.before
        )
        return (*waypoints, *(one.step(known) for one in self.programs if one.after.changed))

    def words(self, taught: Taught) -> str:
        """As a clause."""
        offsets = self.shift.offsets_deg.items()
        by = ", ".join(f"{name} by {angle:+g}°" for name, angle in offsets)
        waypoints = len(self.shift.waypoints_of(taught))
        programs = sum(one.after.changed > 0 for one in self.programs)
        counts = ((waypoints, "waypoint"), (programs, "program"))
        what = [f"{count} {name}{'s' * (count != 1)}" for count, name in counts if count]
        why = " ".join(self.shift.why.split())
        return f"shifted {' and '.join(what) or 'nothing'}, {by}: {why}"


def _shifted(waypoint: Waypoint, offsets_deg: Mapping[str, float], arm: Arm) -> Shifted:
    angles, out = dict(waypoint.angles_deg), []
    for joint in arm.joints:
        if joint.name not in angles or joint.name not in offsets_deg:
            continue
        # In whole units, so that there and back is where it began.
        units = round(angles[joint.name] * _UNITS) + round(offsets_deg[joint.name] * _UNITS)
        angles[joint.name] = angle = round(units / _UNITS, DIGITS)
        if joint.range_counts is not None and joint.range_deg is not None:
            low, high = joint.range_counts
            if not low <= joint.to_counts(angle) <= high:
                first, last = joint.range_deg
                out.append(
                    f"{waypoint.name!r}: {joint.name} would be at {angle:g}°, its range is "
                    f"{first:g} to {last:g}°"
                )
    return Shifted(waypoint, replace(waypoint, angles_deg=angles), tuple(out))
