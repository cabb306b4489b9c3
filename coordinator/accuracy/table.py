"""A table that an operator typed: its cells with their lines, and what is wrong with it.

CSV, separated by commas, or by semicolons where the head has one; then a comma may stand for the
decimal point, as some spreadsheets write it. Lines before the head that begin with # say what it is
of. Mistakes are told each with its line, the first
hundred of them and how many more.
"""

import csv
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from io import StringIO
from itertools import takewhile
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
SHOWN: Final = 40
"""Characters of what is wrong."""
_END: Final = "end"
"""Behind the last line: where it is no row of its own, a quote is open still."""
_COMMA: Final = "; where a comma is the decimal point, semicolons must separate, in the head too"
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
        self._same: list[str] = []
        self._last_digits: dict[str, float] = {}
        rows = self._rows(self._text(file))
        if not rows:
            raise self.refusal("there is nothing in it: a head with the columns' names comes first")
        (_, self.head), *rest = rows
        if len(rest) > MAX_READINGS:
            raise self.refusal(f"{len(rest)} readings, at most {MAX_READINGS}")
        self.rows: list[Row] = []
        for line, cells in rest:
            if len(cells) != len(self.head):
                why = f"{len(cells)} cells, the head has {len(self.head)}"
                text = self._separator.join(cells)
                hint = "" if self._comma_decimal or "," not in text else f": {text!r}{_COMMA}"
                self.wrong(line, f"{why}{hint}")
            else:
                self.rows.append(Row(line, dict(zip(self.head, cells, strict=True))))

    def _rows(self, text: str) -> list[tuple[int, list[str]]]:
        """Cells, each row with the line on which it begins."""
        lines = list(StringIO(text, newline=None))  # no line ends but those of editors
        noted = list(takewhile(lambda line: line.lstrip('" ').startswith("#"), lines))
        self.note = " ".join(line.strip('# ,;"\r\n') for line in noted)
        """What those say."""
        lines[: len(noted)] = ["\n"] * len(noted)
        self._comma_decimal = len(lines) > len(noted) and ";" in lines[len(noted)]
        self._separator = ";" if self._comma_decimal else ","
        reader = csv.reader([*lines, _END], delimiter=self._separator)
        rows, begins = [], 1
        try:
            for row in reader:
                if reader.line_num > len(lines) and row != [_END]:
                    raise self._unclosed(lines, begins, "never closed")
                if reader.line_num > begins:
                    raise self._unclosed(lines, begins, f"closed only on line {reader.line_num}")
                if any(row) and row != [_END]:
                    rows.append((begins, [cell.strip() for cell in row]))
                begins = reader.line_num + 1
        except csv.Error as error:
            most = csv.field_size_limit()
            raise self.refusal(f"it has a cell of more than {most} characters", begins) from error
        return rows

    def _unclosed(self, lines: list[str], line: int, closed: str) -> ReadingsError:
        quoted = lines[line - 1].rstrip("\n")
        quoted = quoted[quoted.index('"') :][:SHOWN]
        return self.refusal(f"a quote is opened and {closed}: {quoted!r}", line)

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
            typed = Decimal(self.plain(cell))
            value = float(typed)
        except (InvalidOperation, ValueError):
            value = float("nan")
        if not isfinite(value):
            hint = "" if self._comma_decimal or "," not in cell else _COMMA
            self.wrong(row.line, f"{column} is {cell!r}, not a number{hint}")
            return None
        last_digit = 10.0 ** min(int(typed.as_tuple().exponent), 0)
        self._last_digits[column] = min(last_digit, self._last_digits.get(column, last_digit))
        return value

    def plain(self, cell: str) -> str:
        """A number of this table, with a point before its decimals."""
        return cell.replace(",", ".") if self._comma_decimal else cell

    def resolution(self, *columns: str) -> float:
        """What the last digit of a column's readings tells apart, in its unit; of several the
        coarsest. Zeros that were left out at the end make it coarser than the gauge is.
        """
        return max((self._last_digits.get(column, 0.0) for column in columns), default=0.0)

    def bounded(
        self,
        row: Row,
        column: str,
        scale: float,
        limit: float,
        unit: str,
        what: str = "a deviation",
    ) -> float | None:
        """A deviation, or `what` it is, in `unit`; None where it cannot be one."""
        value = self.number(row, column)
        if value is None:
            return None
        if abs(value * scale) > limit:
            self.wrong(
                row.line,
                f"{column} is {value:g}, which is {value * scale:g} {unit}; {what} is at most "
                f"{limit:g} {unit}: does the head name the right unit?",
            )
            return None
        return value * scale

    def require_right(self) -> None:
        """Raise ReadingsError with all that is wrong."""
        if self._mistakes.count:
            raise ReadingsError(*self._told(self._mistakes))

    def remark_same(self, which: str, resolution: float, unit: str) -> None:
        """Remark readings of which one is like the other: that is no scatter of nothing."""
        why = (
            f"{which} the same: a scatter that is finer than {resolution:.3g} {unit}, to which "
            "they were typed, is not seen"
        )
        self._same.append(why)

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
        """On slips that were found, and readings that are all the same."""
        return (*(one.sentence for one in self._told(self._slips)), *self._same)

    def _told(self, problems: Problems) -> list[Mistake]:
        return [Mistake(one.message, self._file, one.line) for one in problems.told()]
