"""Percentiles, tables, and how far the work has come."""

import math
import sys
from collections.abc import Sequence

from rich.console import Console
from rich.table import Table

WIDTH = 170


def percentile(values: Sequence[float], per_cent: float) -> float:
    """The smallest value that this share did not exceed (nearest rank); nan without any."""
    if not values:
        return float("nan")
    ordered = sorted(values)
    # In thousandths, as integers: 0.99 · 100 is a little more than 99 as a float.
    rank = -(-len(ordered) * round(per_cent * 1000) // 100_000)
    return ordered[max(0, rank - 1)]


def us(values: Sequence[float], *per_cents: float) -> list[str]:
    """These percentiles as whole µs."""
    return [whole(percentile(values, per_cent)) for per_cent in per_cents]


def ms(values: Sequence[float], per_cent: float) -> str:
    """A percentile of µs as whole ms."""
    return whole(percentile(values, per_cent) / 1000)


def tenths_ms(values: Sequence[float], *per_cents: float) -> list[str]:
    """These percentiles of µs as ms with one decimal; a dash for none."""
    found = [percentile(values, per_cent) / 1000 for per_cent in per_cents]
    return ["–" if math.isnan(one) else f"{one:.1f}" for one in found]


def whole(value: float) -> str:
    """A number without a fraction; a dash for none."""
    return "–" if math.isnan(value) else f"{value:.0f}"


def ratio(theirs: float, ours: float) -> str:
    """How many times as large theirs is; a dash for none."""
    return "–" if math.isnan(theirs) or not ours > 0 else f"{theirs / ours:.1f}"


def share(part: float) -> str:
    """A share in per cent, fine enough for one in a thousand."""
    return "–" if math.isnan(part) else f"{100 * part:.2f} %"


def show(title: str, columns: Sequence[str], rows: Sequence[Sequence[object]], *notes: str) -> None:
    """Print one table with its notes, wide enough for a file."""
    table = Table(title=title, title_justify="left", title_style="bold")
    for k, column in enumerate(columns):
        table.add_column(column, justify="right" if k else "left")
    for row in rows:
        table.add_row(*(str(value) for value in row))
    console = Console(width=WIDTH, highlight=False)
    console.print(table)
    for note in notes:
        console.print(note, markup=False)
    console.print()


class Progress:
    """How far the work has come, on standard error: one line that is written over."""

    def __init__(self, what: str, count: int) -> None:
        self._what, self._count, self._done = what, count, 0

    def step(self) -> None:
        """One more is done."""
        self._done += 1
        end = "\n" if self._done == self._count else ""
        text = f"\r{self._what}: {self._done} of {self._count}"
        print(text, end=end, file=sys.stderr, flush=True)
