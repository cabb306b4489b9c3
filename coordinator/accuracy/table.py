"""A table that an operator typed: its cells with their lines, and what is wrong with it.

CSV, separated by commas, or by semicolons where the head has one; then a comma may stand for the
decimal point, as some spreadsheets write it. Mistakes are told each with its line, the first
hundred of them and how many more.
"""

import csv
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from io import StringIO
from math import isfinite
from pathlib import Path
from statistics import median
from typing import Final

from coordinator.config.mistake import Mistake
from coordinator.config.problems import Problem, Problems
from coordinator.config.regular_file import read_regular

MAX_READINGS: Final = 10_000
MAX_BYTES: Final = 1_000_000
ODD: Final = 10.0
"""A reading so many times as far from the middle as others lie apart is told: a slip of the hand
is likelier than chance."""
_SIGMA_OF_MAD: Final = 1.4826
"""Of a normal distribution."""


class ReadingsError(ValueError):
    """A table that cannot be used, with its mistakes as far as they are told."""

    def __init__(self, *mistakes: Mistake) -> None:
        self.mistakes = mistakes
        super().__init__("\n".join(mistake.sentence for mistake in mistakes))


@dataclass(frozen=True, slots=True)
class Row:
    """Its cells by column, and the line on which it begins."""

    line: int
    cells: Mapping[str, str]


class Table:
    """A file's `head` and `rows`; what is wrong is gathered."""

    def __init__(self, file: Path) -> None:
        self._file = str(file)
        self._mistakes, self._slips = Problems(), Problems("likely slips")
        rows = self._rows(self._text(file))
        if not rows:
            raise self.refusal("there is nothing in it: a head with the columns' names comes first")
        (_, self.head), *rest = rows
        if len(rest) > MAX_READINGS:
            raise self.refusal(f"{len(rest)} readings, at most {MAX_READINGS}")
        self.rows: list[Row] = []
        for line, cells in rest:
            if len(cells) != len(self.head):
                self.wrong(line, f"{len(cells)} cells, the head has {len(self.head)}")
            else:
                self.rows.append(Row(line, dict(zip(self.head, cells, strict=True))))

    def _rows(self, text: str) -> list[tuple[int, list[str]]]:
        """Cells, each row with the line on which it begins."""
        lines = list(StringIO(text, newline=None))  # no line ends but those of editors
        self._comma_decimal = bool(lines) and ";" in lines[0]
        reader = csv.reader(lines, delimiter=";" if self._comma_decimal else ",")
        rows, begins = [], 1
        try:
            for row in reader:
                if any(row):
                    rows.append((begins, [cell.strip() for cell in row]))
                begins = reader.line_num + 1
        except csv.Error as error:
            most = csv.field_size_limit()
            raise self.refusal(f"it has a cell of more than {most} characters", begins) from error
        return rows

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
        self._mistakes.add(Problem(line, 0, why))

    def number(self, row: Row, column: str) -> float | None:
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

    def bounded(self, row: Row, column: str, scale: float, limit: float, unit: str) -> float | None:
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
        if self._mistakes.count:
            raise ReadingsError(*self._told(self._mistakes))

    def look_for_slips(self, readings: Iterable[tuple[int, float]], unit: str) -> None:
        """Remark what may be one, of readings of the same and their lines."""
        found = list(readings)
        middle = median(value for _, value in found)
        usual = _SIGMA_OF_MAD * median(abs(value - middle) for _, value in found)
        for line, value in found:
            off = abs(value - middle)
            if usual > 0.0 and off > ODD * usual:
                why = (
                    f"{value:g} {unit} lies {off / usual:.0f} times as far from the others as they "
                    "lie apart: is it a slip?"
                )
                self._slips.add(Problem(line, 0, why))

    @property
    def remarks(self) -> tuple[str, ...]:
        """On slips that were found."""
        return tuple(one.sentence for one in self._told(self._slips))

    def _told(self, problems: Problems) -> list[Mistake]:
        return [Mistake(one.message, self._file, one.line) for one in problems.told()]
