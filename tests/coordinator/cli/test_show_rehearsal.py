"""The table of a rehearsal: every figure stands under its heading."""

from dataclasses import replace

import pytest
from rich.table import Table

from coordinator.cli.show_rehearsal import rehearsal_table, supply_sentence
from coordinator.motion.peaks import JointPeaks, Peak
from coordinator.rehearsal.summary import quantiles, summarise
from tests.coordinator.core.kit import small_arm

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


@pytest.mark.parametrize(
    ("fitted", "whose"),
    [
        ([], "the arm file's, none is fitted"),
        (["tip"], "fitted to tip, the rest is the arm file's"),
        (["base", "middle", "tip"], "fitted to base, middle, tip"),
    ],
)
def test_of_the_supply_the_joint_nearest_to_its_limit_is_told_and_whose_figures_it_is(
    fitted: list[str], whose: str
) -> None:
    base, *others = small_arm().joints
    joints = (replace(base, supply_limit_v=22.0), *others)
    lowest = {"base": 22.5, "middle": 21.0, "tip": 20.5}
    summary = replace(summarise([]), lowest_supply_v=lowest)
    assert supply_sentence(summary, joints, fitted) == (
        "lowest supply: base 22.5 V, middle 21.0 V, tip 20.5 V; base is nearest to where it stops, "
        f"22 V; hop resistances: {whose}; what joints draw is assumed but for their currents"
    )
    low = (replace(base, supply_limit_v=22.0, supply_warning_v=22.55), *others)
    assert supply_sentence(summary, low, fitted) == (
        "lowest supply: base 22.5 V, middle 21.0 V, tip 20.5 V; base is nearest to where it stops, "
        "22 V; below its supply_warning_v: base 22.5 V (22.55 V); hop resistances: "
        f"{whose}; what joints draw is assumed but for their currents"
    )
    assert supply_sentence(summarise([]), joints, fitted) == "supply: nothing was seen of it"
