"""Readings that an operator typed into a table, whose head names every unit."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import degrees
from pathlib import Path
from typing import Final

from coordinator.accuracy.reversal import Reversal, Target, side
from coordinator.accuracy.table import Row, Table
from coordinator.config.joint import MAX_ANGLE_DEG

ANGLES: Final[Mapping[str, float]] = {"deg": 1.0, "arcmin": 1.0 / 60.0, "arcsec": 1.0 / 3600.0}
"""Degrees in one."""
LENGTHS: Final[Mapping[str, float]] = {"mm": 1.0, "um": 1e-3}
"""Millimetres in one."""
SIDES: Final = ("below", "above")
WAYS: Final = ("x", "y", "z")
MAX_DEVIATION_DEG: Final = 10.0
MAX_DEVIATION_MM: Final = 50.0
"""Beyond these a reading has another unit than its head says, or is of another table."""


@dataclass(frozen=True, slots=True)
class PoseReadings:
    """Deviations from a commanded pose."""

    unit: str
    """`mm` or `deg`."""
    deviations: tuple[tuple[float, ...], ...]
    """In one to three directions."""
    resolution: float
    """What the last digit that was typed tells apart, in `unit`."""
    remarks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ReversalReadings:
    """Deviations from target angles, from both sides, in degrees."""

    reversal: Reversal
    remarks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class TurnReadings:
    """Commanded angles and what was read at each, in degrees."""

    commanded: tuple[float, ...]
    read: tuple[float, ...]
    resolution: float
    """What the last digit that was read tells apart."""


def read_pose(file: Path, least: int) -> PoseReadings:
    """Readings at one pose: `angle_deg`, or `x_mm` and, if there are, `y_mm` and `z_mm`.

    In place of `deg` may stand `arcmin` or `arcsec`, in place of `mm` `um`. Raises ReadingsError,
    also for fewer than `least`.
    """
    table = Table(file)
    names = [tuple(column.partition("_")[::2]) for column in table.head]
    ways, units = [name for name, _ in names], {unit for _, unit in names}
    scales, unit, limit = LENGTHS, "mm", MAX_DEVIATION_MM
    if ways == ["angle"]:
        scales, unit, limit = ANGLES, "deg", MAX_DEVIATION_DEG
    elif ways != list(WAYS[: len(ways)]):
        raise table.refusal(
            f"the head is {','.join(table.head)!r}, but must be angle_UNIT, or x_UNIT and, if they "
            "were read, y_UNIT and z_UNIT"
        )
    if len(units) != 1 or not units <= set(scales):
        raise table.refusal(
            f"the head is {','.join(table.head)!r}: its unit must be one of "
            f"{' '.join(scales)}, the same in every column"
        )
    scale = scales[units.pop()]
    found: list[tuple[float, ...]] = []
    for row in table.rows:
        values = [table.bounded(row, column, scale, limit, unit) for column in table.head]
        found.append(tuple(value for value in values if value is not None))
    table.require_right()
    if len(found) < least:
        raise table.refusal(f"{len(found)} readings where {least} are needed")
    for k in range(len(ways)):
        table.look_for_slips(
            ((row.line, one[k]) for row, one in zip(table.rows, found, strict=True)), unit
        )
    resolution = table.resolution(*table.head) * scale
    if len(set(found)) == 1:
        table.remark_same(f"all {len(found)} readings are", resolution, unit)
    return PoseReadings(unit, tuple(found), resolution, table.remarks)


def read_reversal(
    file: Path,
    least: int,
    radius_mm: float | None,
    range_deg: tuple[float, float] | None = None,
) -> ReversalReadings:
    """Readings at target angles: `target_deg`, `from` with below or above, `deviation_UNIT`.

    A deviation is what was reached less the target, an angle, or a length that was read at
    `radius_mm` from the axis. `range_deg` is where the joint can go, where that is known. Raises
    ReadingsError, also for fewer than `least` from either side.
    """
    table = Table(file)
    column, scale = _deviation_column(table, radius_mm)
    found: dict[float, dict[str, list[tuple[int, float]]]] = {}
    for row in table.rows:
        target = _within(table, row, range_deg)
        came_from = row.cells["from"].lower()
        if came_from not in SIDES:
            table.wrong(row.line, f"from is {row.cells['from']!r}, not one of {' '.join(SIDES)}")
        value = table.bounded(row, column, scale, MAX_DEVIATION_DEG, "deg")
        if target is not None and value is not None and came_from in SIDES:
            sides = found.setdefault(target, {one: [] for one in SIDES})
            sides[came_from].append((row.line, value))
    table.require_right()
    if not found:
        raise table.refusal("there are no readings in it")
    for target, sides in sorted(found.items()):
        for one in SIDES:
            if len(sides[one]) < least:
                raise table.refusal(
                    f"target {target:g} deg has {len(sides[one])} readings from {one} where "
                    f"{least} are needed"
                )
    resolution = table.resolution(column) * scale
    targets = tuple(
        Target(target, side(_values(sides["below"])), side(_values(sides["above"])), resolution)
        for target, sides in sorted(found.items())
    )
    for target, sides in sorted(found.items()):
        for one in SIDES:
            table.look_for_slips(sides[one], "deg")
            if len(set(_values(sides[one]))) == 1:
                which = f"the {len(sides[one])} readings at {target:g} deg from {one} are all"
                table.remark_same(which, resolution, "deg")
    return ReversalReadings(Reversal(targets), table.remarks)


def read_turns(file: Path) -> TurnReadings:
    """How far a joint was told to turn and how far it did: `commanded_deg` and `read_UNIT`, angles
    from one place of the scale. Raises ReadingsError.
    """
    table = Table(file)
    others = [column for column in table.head if column != "commanded_deg"]
    unit = others[0].removeprefix("read_") if others else ""
    if sorted(table.head) != sorted(("commanded_deg", f"read_{unit}")) or unit not in ANGLES:
        raise table.refusal(
            f"the head is {','.join(table.head)!r}, but must have commanded_deg and read_UNIT, "
            f"with one of {' '.join(ANGLES)}"
        )
    found: list[tuple[float, float]] = []
    for row in table.rows:
        commanded = table.bounded(row, "commanded_deg", 1.0, MAX_ANGLE_DEG, "deg", "an angle")
        read = table.bounded(row, others[0], ANGLES[unit], MAX_ANGLE_DEG, "deg", "an angle")
        if commanded is not None and read is not None:
            found.append((commanded, read))
    table.require_right()
    return TurnReadings(
        tuple(one for one, _ in found),
        tuple(one for _, one in found),
        table.resolution(others[0]) * ANGLES[unit],
    )


def _within(table: Table, row: Row, range_deg: tuple[float, float] | None) -> float | None:
    """The target of a row, None where it is none, or none to which the joint can go."""
    target = table.number(row, "target_deg")
    if target is None or range_deg is None or range_deg[0] <= target <= range_deg[1]:
        return target
    low, high = range_deg
    table.wrong(
        row.line,
        f"target_deg is {target:g}, and the joint's range is from {low:g} to {high:g}: is this its "
        "table?",
    )
    return None


def _values(readings: Sequence[tuple[int, float]]) -> list[float]:
    return [value for _, value in readings]


def _deviation_column(table: Table, radius_mm: float | None) -> tuple[str, float]:
    """Its name, and degrees in one of its unit."""
    wanted = {"target_deg", "from"}
    others = [column for column in table.head if column not in wanted]
    unit = others[0].removeprefix("deviation_") if others else ""
    is_named = len(others) == 1 and others[0] == f"deviation_{unit}"
    if set(table.head) != wanted | set(others) or len(table.head) != 3 or not is_named:
        raise table.refusal(
            f"the head is {','.join(table.head)!r}, but must have target_deg, from and "
            "deviation_UNIT"
        )
    if unit in ANGLES:
        if radius_mm is not None:
            raise table.refusal(f"{others[0]} is an angle: a radius says nothing of it")
        return others[0], ANGLES[unit]
    if unit not in LENGTHS:
        raise table.refusal(
            f"the unit of {others[0]} must be one of {' '.join([*ANGLES, *LENGTHS])}"
        )
    if radius_mm is None:
        raise table.refusal(
            f"{others[0]} is a length: --radius-mm must say how far from the axis it was read"
        )
    return others[0], degrees(LENGTHS[unit] / radius_mm)
