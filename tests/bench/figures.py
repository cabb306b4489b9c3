"""Percentiles and tables."""

import math
from collections.abc import Sequence

from rich.console import Console
from rich.table import Table


def percentile(values: Sequence[float], per_cent: float) -> float:
    """The smallest value that this share did not exceed (nearest rank); nan without any."""
    if not values:
        return float("nan")
    ordered = sorted(values)
    return ordered[max(0, math.ceil(len(ordered) * per_cent / 100) - 1)]


def show(title: str, columns: Sequence[str], rows: Sequence[Sequence[object]]) -> None:
    """Print one table, wide enough for a file."""
    table = Table(title=title, title_justify="left")
    for column in columns:
        table.add_column(column, justify="left" if column == columns[0] else "right")
    for row in rows:
        table.add_row(*(str(value) for value in row))
    Console(width=150).print(table)
