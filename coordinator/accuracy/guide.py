"""Which angles a guided test visits, in which order, and the table that comes of it."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import inf, radians
from typing import Final

from coordinator.accuracy.gear import LEAST_PLACES, LEAST_READINGS, LEAST_TURN_DEG
from coordinator.accuracy.readings import (
    ANGLES,
    LENGTHS,
    MAX_DEVIATION_DEG,
    MAX_DEVIATION_MM,
    SIDES,
)
from coordinator.accuracy.repeatability import LEAST_READINGS as LEAST_OF_A_POSE
from coordinator.accuracy.repeatability import STANDARD_READINGS
from coordinator.accuracy.reversal import LEAST_RUNS
from coordinator.accuracy.table import Row, Table
from coordinator.config.joint import MAX_ANGLE_DEG

LEAD_DEG: Final = 5.0
"""The way on which a target is come to from its side: more than any gear plays."""
BELOW, ABOVE = SIDES


class Guided(StrEnum):
    """What is measured."""

    REPEATABILITY = "repeatability"
    REVERSAL = "reversal"
    RATIO = "ratio"


@dataclass(frozen=True, slots=True)
class Visit:
    """One reading to be made."""

    target_deg: float
    side: str
    """From which it is come to: `below` or `above`."""
    cells: tuple[str, ...]
    """What stands in its row before what is read."""

    @property
    def before_deg(self) -> float:
        """Where it is come from."""
        return self.target_deg + (LEAD_DEG if self.side == ABOVE else -LEAD_DEG)


class GuideError(ValueError):
    """A guided test that cannot be; the text is the sentence."""


def usual_repeats(test: Guided) -> int:
    """How often each target is visited, from each side that counts."""
    return {Guided.REPEATABILITY: STANDARD_READINGS, Guided.REVERSAL: LEAST_RUNS}.get(test, 2)


def visits_of(
    test: Guided, targets: Sequence[float], repeats: int, range_deg: tuple[float, float] | None
) -> list[Visit]:
    """All visits in their order. Raises GuideError where no figure could come of them, or where the
    joint cannot go there.
    """
    _require_enough(test, targets, repeats)
    rising = sorted(targets)
    if test is Guided.REVERSAL:
        round_trip = [(at, BELOW) for at in rising] + [(at, ABOVE) for at in reversed(rising)]
        plan = [Visit(at, side, (f"{at:g}", side)) for at, side in round_trip * repeats]
    elif test is Guided.RATIO:
        plan = [Visit(at, BELOW, (f"{at:g}",)) for at in rising * repeats]
    else:
        plan = [Visit(at, BELOW, ()) for at in rising * repeats]
    low, high = range_deg or (-inf, inf)
    for one in plan:
        if not (low <= one.target_deg <= high and low <= one.before_deg <= high):
            raise GuideError(
                f"{one.target_deg:g}° from {one.side} is come to from {one.before_deg:g}°, and the "
                f"joint's range is from {low:g} to {high:g}°"
            )
    return plan


def _require_enough(test: Guided, targets: Sequence[float], repeats: int) -> None:
    if len(set(targets)) != len(targets):
        raise GuideError("a target stands twice: it is visited again and again anyhow")
    if test is Guided.REPEATABILITY and len(targets) != 1:
        raise GuideError(f"{len(targets)} targets, but repeatability is of one pose")
    if test is Guided.REPEATABILITY and repeats < LEAST_OF_A_POSE:
        raise GuideError(f"{repeats} readings where {LEAST_OF_A_POSE} are needed")
    if test is Guided.REVERSAL and repeats < LEAST_RUNS:
        raise GuideError(f"{repeats} readings from each side where {LEAST_RUNS} are needed")
    if test is Guided.RATIO and (
        len(targets) < LEAST_PLACES
        or len(targets) * repeats < LEAST_READINGS
        or max(targets) - min(targets) < LEAST_TURN_DEG
    ):
        raise GuideError(
            f"a gear takes {LEAST_READINGS} readings at {LEAST_PLACES} targets that are "
            f"{LEAST_TURN_DEG:g}° apart in all"
        )


def head_of(test: Guided, unit: str) -> tuple[str, ...]:
    """The columns of its table. Raises GuideError for a unit that it cannot have."""
    known = [*ANGLES] if test is Guided.RATIO else [*ANGLES, *LENGTHS]
    if unit not in known:
        raise GuideError(f"the unit is {unit!r}, not one of {' '.join(known)}")
    if test is Guided.REVERSAL:
        return ("target_deg", "from", f"deviation_{unit}")
    if test is Guided.RATIO:
        return ("commanded_deg", f"read_{unit}")
    return (f"{'angle' if unit in ANGLES else 'x'}_{unit}",)


def note_of(test: Guided, joint: str, targets: Sequence[float], radius_mm: float | None) -> str:
    """What a table of this test is of: its columns alone do not say."""
    at = " ".join(f"{one:g}" for one in sorted(targets))
    radius = "" if radius_mm is None else f" read {radius_mm:g} mm from the axis"
    return f"{test} of {joint} at {at} deg{radius}"


def limit_of(test: Guided, unit: str, radius_mm: float | None) -> float:
    """What a reading is at most, in its unit: beyond it, it has another one."""
    if unit in LENGTHS:
        most_mm = MAX_DEVIATION_MM
        if radius_mm is not None:
            most_mm = min(most_mm, radians(MAX_DEVIATION_DEG) * radius_mm)
        return most_mm / LENGTHS[unit]
    return (MAX_ANGLE_DEG if test is Guided.RATIO else MAX_DEVIATION_DEG) / ANGLES[unit]


def require_same_table(
    table: Table, wanted: Sequence[str], plan: Sequence[Visit], note: str
) -> None:
    """Raise GuideError where a table that is there is not the beginning of this test's."""
    if list(table.head) != list(wanted):
        raise GuideError(
            f"its head is {','.join(table.head)!r} where {','.join(wanted)!r} is to be: name "
            "another file"
        )
    if len(table.rows) > len(plan):
        raise GuideError(f"it has {len(table.rows)} readings, and this test {len(plan)}")
    for row, visit in zip(table.rows, plan, strict=False):
        found = cells_of(table, row, wanted)[:-1]
        if found != visit.cells:
            raise GuideError(
                f"line {row.line} is of {' from '.join(found)}, where "
                f"{' from '.join(visit.cells)} comes in this test: name another file, or the "
                "targets with which it was begun"
            )
    if table.note != note:
        raise GuideError(
            f"it is of {table.note!r}, not of {note!r}"
            if table.note
            else f"it does not say of what it is; a table of this test begins with '# {note}'"
        )


def cells_of(table: Table, row: Row, columns: Sequence[str]) -> tuple[str, ...]:
    """A row as this test writes it."""
    return tuple(table.plain(row.cells[column]) for column in columns)
