"""Readings that an operator typed into a table: CSV with a head that names every unit.

Separated by commas, or by semicolons where the head has one; then a comma may stand for the decimal
point, as some spreadsheets write it. All mistakes are told, each with its line.
"""

import csv
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import degrees, isfinite
from pathlib import Path
from statistics import median
from typing import Final

from coordinator.accuracy.reversal import Reversal, Target, side
from coordinator.config.mistake import Mistake
from coordinator.config.regular_file import read_regular

ANGLES: Final[Mapping[str, float]] = {"deg": 1.0, "arcmin": 1.0 / 60.0, "arcsec": 1.0 / 3600.0}
"""Degrees in one."""
LENGTHS: Final[Mapping[str, float]] = {"mm": 1.0, "um": 1e-3}
"""Millimetres in one."""
SIDES: Final = ("below", "above")
WAYS: Final = ("x", "y", "z")
MAX_READINGS: Final = 10_000
MAX_BYTES: Final = 1_000_000
MAX_DEVIATION_DEG: Final = 10.0
MAX_DEVIATION_MM: Final = 50.0
"""Beyond these a reading has another unit than its head says, or is of another table."""
ODD: Final = 10.0
"""A reading so many times as far from the middle as others lie apart is told: a slip of the hand
is likelier than chance."""
_SIGMA_OF_MAD: Final = 1.4826
"""Of a normal distribution."""


class ReadingsError(ValueError):
    """A table that cannot be used, with all its mistakes."""

    def __init__(self, *mistakes: Mistake) -> None:
        self.mistakes = mistakes
        super().__init__("\n".join(mistake.sentence for mistake in mistakes))


@dataclass(frozen=True, slots=True)
class PoseReadings:
    """Deviations from a commanded pose."""

    unit: str
    """`mm` or `deg`."""
    deviations: tuple[tuple[float, ...], ...]
    """In one to three directions."""
    remarks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ReversalReadings:
    """Deviations from target angles, from both sides, in degrees."""

    reversal: Reversal
    remarks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Row:
    line: int
    cells: Mapping[str, str]


class _Table:
    """A file's head and rows; what is wrong is gathered."""

    def __init__(self, file: Path) -> None:
        self._file = str(file)
        self._mistakes: list[Mistake] = []
        text = self._text(file)
        lines = text.splitlines()
        self._comma_decimal = bool(lines) and ";" in lines[0]
        reader = csv.reader(lines, delimiter=";" if self._comma_decimal else ",")
        rows = [(reader.line_num, [cell.strip() for cell in row]) for row in reader if any(row)]
        if not rows:
            raise self.refusal("there is nothing in it: a head with the columns' names comes first")
        (_, self.head), *rest = rows
        if len(rest) > MAX_READINGS:
            raise self.refusal(f"{len(rest)} readings, at most {MAX_READINGS}")
        self.rows: list[_Row] = []
        for line, cells in rest:
            if len(cells) != len(self.head):
                self.wrong(line, f"{len(cells)} cells, the head has {len(self.head)}")
            else:
                self.rows.append(_Row(line, dict(zip(self.head, cells, strict=True))))

    def _text(self, file: Path) -> str:
        try:
            found, size = read_regular(file, MAX_BYTES)
        except OSError as error:
            raise ReadingsError(
                Mistake(f"{file} cannot be read: {error.strerror}", self._file)
            ) from error
        if size > MAX_BYTES:
            raise self.refusal(f"it has {size} bytes, at most {MAX_BYTES}")
        try:
            return found.decode("utf-8-sig")
        except UnicodeDecodeError as error:
            raise self.refusal("it is not UTF-8 text") from error

    def refusal(self, why: str, line: int = 1) -> ReadingsError:
        """What to raise for a table that cannot be looked at further."""
        return ReadingsError(Mistake(why, self._file, line))

    def wrong(self, line: int, why: str) -> None:
        """Something is wrong there."""
        self._mistakes.append(Mistake(why, self._file, line))

    def number(self, row: _Row, column: str) -> float | None:
        """A cell's number, None where it is none."""
        cell = row.cells[column]
        try:
            value = float(cell.replace(",", ".") if self._comma_decimal else cell)
        except ValueError:
            value = float("nan")
        if not isfinite(value):
            self.wrong(row.line, f"{column} is {cell!r}, not a number")
            return None
        return value

    def bounded(
        self, row: _Row, column: str, scale: float, limit: float, unit: str
    ) -> float | None:
        """A deviation in `unit`, None where it cannot be one."""
        value = self.number(row, column)
        if value is None:
            return None
        if abs(value * scale) > limit:
            self.wrong(
                row.line,
                f"{column} is {value:g}, which is {value * scale:g} {unit}; a deviation is at most "
                f"{limit:g} {unit}: does the head name the right unit?",
            )
            return None
        return value * scale

    def require_right(self) -> None:
        """Raise ReadingsError with all that is wrong."""
        if self._mistakes:
            raise ReadingsError(*self._mistakes)

    def remarks(self, readings: Iterable[tuple[int, float]], unit: str) -> list[str]:
        """What may be a slip, of readings and their lines."""
        found = list(readings)
        middle = median(value for _, value in found)
        usual = _SIGMA_OF_MAD * median(abs(value - middle) for _, value in found)
        return [
            f"{self._file}:{line}: {value:g} {unit} lies {abs(value - middle) / usual:.0f} times "
            "as far from the others as they lie apart: is it a slip?"
            for line, value in found
            if usual > 0.0 and abs(value - middle) > ODD * usual
        ]


def read_pose(file: Path, least: int) -> PoseReadings:
    """Readings at one pose: `angle_deg`, or `x_mm` and, if there are, `y_mm` and `z_mm`.

    In place of `deg` may stand `arcmin` or `arcsec`, in place of `mm` `um`. Raises ReadingsError,
    also for fewer than `least`.
    """
    table = _Table(file)
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
    remarks = [
        remark
        for k in range(len(ways))
        for remark in table.remarks(
            ((row.line, one[k]) for row, one in zip(table.rows, found, strict=True)), unit
        )
    ]
    return PoseReadings(unit, tuple(found), tuple(remarks))


def read_reversal(file: Path, least: int, radius_mm: float | None) -> ReversalReadings:
    """Readings at target angles: `target_deg`, `from` with below or above, `deviation_UNIT`.

    A deviation is what was reached less the target, an angle, or a length that was read at
    `radius_mm` from the axis. Raises ReadingsError, also for fewer than `least` from either side.
    """
    table = _Table(file)
    column, scale = _deviation_column(table, radius_mm)
    found: dict[float, dict[str, list[tuple[int, float]]]] = {}
    for row in table.rows:
        target = table.number(row, "target_deg")
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
    targets = tuple(
        Target(target, *(side(_values(sides[one])) for one in SIDES))
        for target, sides in sorted(found.items())
    )
    remarks = [
        remark
        for sides in found.values()
        for one in SIDES
        for remark in table.remarks(sides[one], "deg")
    ]
    return ReversalReadings(Reversal(targets), tuple(remarks))


def _values(readings: Sequence[tuple[int, float]]) -> list[float]:
    return [value for _, value in readings]


def _deviation_column(table: _Table, radius_mm: float | None) -> tuple[str, float]:
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
