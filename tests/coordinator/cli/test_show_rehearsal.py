"""The table of a rehearsal: every figure stands under its heading."""

from dataclasses import replace

import pytest
from rich.table import Table

from coordinator.cli.show_rehearsal import rehearsal_table
from coordinator.motion.peaks import JointPeaks, Peak
from coordinator.rehearsal.summary import quantiles, summarise

PEAKS = [JointPeaks("base", velocity=Peak(20.0, 60.0, 2), acceleration=Peak(100.0, 120.0, 3))]


def row(table: Table) -> dict[str, str]:
    """The first row by heading; `line` comes twice, for speed and for acceleration."""
    headings = [str(column.header) for column in table.columns]
    headings[-1] += " of acceleration"
    cells = [str(next(iter(column.cells), "")) for column in table.columns]
    return dict(zip(headings, cells, strict=True))


@pytest.mark.parametrize("fed", [{}, {"base": 450_000}])
def test_every_figure_of_a_rehearsal_stands_under_its_heading(fed: dict[str, int]) -> None:
    margin, off = quantiles([200_000, 300_000, 400_000]), quantiles([20.0, 30.0, 70.0])
    assert margin is not None
    assert off is not None
    summary = replace(
        summarise([]), start_margin_us={"base": margin}, off_us={"base": off}, buffer_margin_us=fed
    )
    assert row(rehearsal_table(summary, PEAKS)) == {
        "joint": "base",
        "start margin, ms": "300",
        "99 % have": "200",
        "99 % off by, µs": "70",
        **({"buffer margin": "450"} if fed else {}),
        "°/s / limit": "20.0 / 60",
        "line": "2",
        "°/s² / limit": "100.0 / 120",
        "line of acceleration": "3",
    }
