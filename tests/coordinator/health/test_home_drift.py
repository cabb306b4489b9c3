"""How far home wanders, scatters and drifts, from what homings found."""

import random
import statistics
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from math import sqrt

import numpy as np
import pytest
from scipy.stats import linregress

from coordinator.health.home_drift import (
    LEAST_HOMINGS,
    LEAST_SPAN_C,
    HomeFigure,
    HomeFigures,
    anchored,
    figures_of,
    levelled,
    places_of,
)
from coordinator.health.home_state import FoundHome, HomeState, Passage

SWEEP = (
    Passage(True, True, -1.48), Passage(False, True, -1.62), Passage(True, False, -1.5),
    Passage(False, False, 1.5), Passage(True, True, 1.4),
)  # fmt: skip
"""A search upwards: to the near edge, back, slowly over both, and back to the middle."""
SHIFTS = (None, 0.01, -0.02, 0.005, 0.03, 0.0)


def homings(
    shifts: Sequence[float | None], temperatures: Sequence[float | None] = ()
) -> list[FoundHome]:
    """One for each shift, all else the same."""
    warm = [*temperatures, *[None] * len(shifts)]
    return [
        FoundHome(k, None, SWEEP, shift, warm[k - 1], "0a1b2c3d4e5f", "100 counts/°", True)
        for k, shift in enumerate(shifts, 1)
    ]


def figures(found: Sequence[FoundHome]) -> HomeFigures:
    return figures_of(found, places_of(found))


def none_of(figure: HomeFigure) -> str:
    """Why there is no figure, and there is none."""
    assert (figure.value, figure.uncertainty) == (None, None)
    return figure.why


def test_shifts_add_up_since_the_first_homing_with_which_they_can_be_compared() -> None:
    places = places_of(homings(SHIFTS))
    assert {one.reference for one in places} == {1}
    expected = [0.0, 0.01, -0.01, -0.005, 0.025, 0.025]
    assert [one.since_reference_deg for one in places] == pytest.approx(expected)
    assert places[4].rising_deg == pytest.approx(-1.475)
    assert places[4].falling_deg == pytest.approx(1.525)


@pytest.mark.parametrize(
    "change",
    [
        {"shift_deg": None},
        {"controller": "ffffffffffff"},
        {"figures": "200 counts/°"},
        {"follows": False},
    ],
)
def test_a_homing_that_can_be_compared_with_none_before_is_a_reference_itself(
    change: dict[str, object],
) -> None:
    found = homings(SHIFTS)
    # Another controller or other figures last; what else there may be is of one homing.
    until = None if change.keys() & {"controller", "figures"} else 4
    found[3:until] = [replace(one, **change) for one in found[3:until]]  # type: ignore[arg-type]
    places = places_of(found)
    assert [one.reference for one in places] == [1, 1, 1, 4, 4, 4]
    assert [one.since_reference_deg for one in places[3:]] == pytest.approx([0.0, 0.03, 0.03])


def test_a_homing_that_was_accepted_is_the_new_reference() -> None:
    places = places_of(homings(SHIFTS), accepted={3})
    assert [one.reference for one in places] == [1, 1, 3, 3, 3, 3]
    assert places[2].shift_deg == -0.02
    assert places[-1].since_reference_deg == pytest.approx(0.035)


def test_repeatability_is_the_standard_deviation_with_its_own_uncertainty() -> None:
    found = figures(homings(SHIFTS)).rising_deviation_deg
    places = [0.0, 0.01, -0.01, -0.005, 0.025, 0.025]
    expected = statistics.stdev(places)
    assert found.value == pytest.approx(expected)
    assert found.uncertainty == pytest.approx(expected / sqrt(2 * 5))
    assert (found.homings, found.why) == (6, "")


def test_a_standard_deviation_of_ten_is_uncertain_by_a_quarter_as_the_gum_has_it() -> None:
    """JCGM 100:2008, table E.1, from memory: 24 % for ten."""
    found = figures(homings([None, *[0.01, -0.01] * 4, 0.01])).falling_deviation_deg
    assert found.value is not None
    assert found.uncertainty is not None
    assert found.uncertainty / found.value == pytest.approx(0.24, abs=0.005)


def test_scatter_of_several_rows_is_pooled_about_the_mean_of_each() -> None:
    found = figures(homings([None, 0.02, 0.02, None, 0.06, None])).rising_deviation_deg
    assert "5 homings can be compared" in none_of(found)  # of three degrees of freedom
    found = figures(homings([None, 0.02, 0.02, None, 0.06, 0.0])).rising_deviation_deg
    rows = [0.0, 0.02, 0.04], [0.0, 0.06, 0.06]
    squares = sum(statistics.variance(row) * 2 for row in rows)
    assert found.value == pytest.approx(sqrt(squares / 4))
    assert found.uncertainty == pytest.approx(sqrt(squares / 4 / 8))


@pytest.mark.parametrize("count", [1, 2, 3, LEAST_HOMINGS - 1])
def test_of_too_few_homings_a_sentence_is_told_and_no_figure(count: int) -> None:
    told = figures(homings(SHIFTS[:count], [20.0, 40.0, 30.0, 25.0]))
    for figure in (told.rising_deviation_deg, told.falling_deviation_deg, told.drift_deg_per_c):
        assert "it takes 5 in a row" in none_of(figure)
    assert "it takes 5" in none_of(told.hysteresis_deg)


def test_of_no_homing_at_all_a_sentence_is_told() -> None:
    told = figures([])
    assert none_of(told.rising_deviation_deg).startswith("no homings can be compared")
    assert none_of(told.hysteresis_deg).startswith("no homings met")


@pytest.mark.parametrize("way", [1.0, -1.0])
def test_hysteresis_is_how_much_later_an_edge_is_met_the_other_way(way: float) -> None:
    """0.12° at the near edge and 0.1° at the far one, whichever way the search goes."""
    sweep = tuple(one._replace(from_middle_deg=way * one.from_middle_deg) for one in SWEEP)
    found = [replace(one, passages=sweep) for one in homings(SHIFTS)]
    assert places_of(found)[0].hysteresis_deg == pytest.approx(0.11)
    told = figures(found).hysteresis_deg
    assert told.value == pytest.approx(0.11)
    assert told.uncertainty == pytest.approx(0.0, abs=1e-12)


def test_hysteresis_is_not_known_where_no_edge_was_met_both_ways() -> None:
    for passages in ((), SWEEP[2:4], SWEEP[:2]):
        found = replace(homings([None])[0], passages=passages)
        assert places_of([found])[0].hysteresis_deg is None


def test_drift_is_the_least_squares_line_that_scipy_finds() -> None:
    rng = random.Random(7)
    temperatures = [22.0 + 1.5 * k for k in range(12)]
    home = [0.004 * (t - 22.0) + rng.gauss(0.0, 0.003) for t in temperatures]
    shifts = [None, *(b - a for a, b in pairwise(home))]
    found = figures(homings(shifts, temperatures)).drift_deg_per_c
    expected = linregress(temperatures, [one - home[0] for one in home])
    assert found.value == pytest.approx(expected.slope)
    assert found.uncertainty == pytest.approx(expected.stderr)
    assert found.homings == 12


def test_drift_of_several_rows_has_a_level_of_its_own_for_each() -> None:
    temperatures = [20.0, 24.0, 29.0, 21.0, 25.0, 33.0, 35.0]
    shifts = [None, 0.02, 0.03, None, 0.03, 0.03, 0.01]
    found = figures(homings(shifts, temperatures)).drift_deg_per_c
    home = np.array([0.0, 0.02, 0.05, 0.0, 0.03, 0.06, 0.07])
    first = np.array([1.0] * 3 + [0.0] * 4)
    columns = np.column_stack([temperatures, first, 1.0 - first])
    solution, rest, _, _ = np.linalg.lstsq(columns, home, rcond=None)
    covariance = np.linalg.inv(columns.T @ columns) * rest[0] / (7 - 3)
    assert found.value == pytest.approx(solution[0])
    assert found.uncertainty == pytest.approx(sqrt(covariance[0, 0]))


def test_what_is_drawn_over_temperature_lies_about_the_line_of_the_drift_whatever_the_row() -> None:
    rng = random.Random(7)
    found: list[FoundHome] = []
    for row in range(3):
        before = 0.0
        for k in range(6):
            warm = 20.0 + 4.0 * k + row
            home = 0.002 * warm + rng.gauss(0.0, 1e-4)
            shift = None if k == 0 else home - before
            one = replace(homings((shift,), (warm,))[0], homing=10 * row + k + 1)
            found.append(one)
            before = home
    places = places_of(found)
    slope = figures_of(found, places).drift_deg_per_c.value
    assert slope is not None
    told = levelled(found, places, slope)
    celsius = [one.temperature_c or 0.0 for one in told]
    level = [one.level_deg or 0.0 for one in told]
    line = linregress(celsius, level)
    assert line.slope == pytest.approx(slope, rel=1e-9)
    assert sum(level) == pytest.approx(0.0, abs=1e-12)
    # Less than the scatter that was put in, whichever row it is of.
    for at, deg in zip(celsius, level, strict=True):
        assert deg == pytest.approx(line.intercept + slope * at, abs=5e-4)


def test_homings_that_can_be_compared_with_none_or_are_of_another_joint_are_not_drawn() -> None:
    found = homings((None, 0.01, None), (20.0, 30.0, 25.0))
    other = replace(homings((None,), (40.0,))[0], homing=0, controller="ffffffffffff")
    told = levelled([other, *found], places_of([other, *found]), None)
    assert [one.level_deg for one in told] == [None, -0.005, 0.005, None]
    assert levelled([], [], None) == []


def state(**values: object) -> HomeState:
    """A joint's home as the last of SHIFTS left it, had there been homings before."""
    known = HomeState(6, "0a1b2c3d4e5f", "100 counts/°", -3, 1.025)
    return replace(known, **values)  # type: ignore[arg-type]


def test_places_are_told_from_a_reference_that_is_older_than_all_of_them() -> None:
    places = places_of(homings(SHIFTS))
    told = anchored(places, state())
    assert {one.reference for one in told} == {-3}
    assert [one.since_reference_deg for one in told] == pytest.approx(
        [one.since_reference_deg + 1.0 for one in places]
    )
    assert told[4].rising_deg == pytest.approx(-0.475)
    # The scatter is about the mean, so it is the same.
    before, after = (figures_of(homings(SHIFTS), one) for one in (places, told))
    assert after.rising_deviation_deg.value == pytest.approx(before.rising_deviation_deg.value)


@pytest.mark.parametrize("known", [None, state(homing=7), state(reference=1), state(reference=6)])
def test_places_stay_as_they_are_where_their_reference_is_among_them(
    known: HomeState | None,
) -> None:
    places = places_of(homings(SHIFTS))
    assert anchored(places, known) == places
    assert anchored([], known) == []


def test_drift_is_not_told_of_temperatures_that_lie_too_near() -> None:
    near = [30.0 + k * (LEAST_SPAN_C - 0.1) / 5 for k in range(6)]
    told = none_of(figures(homings(SHIFTS, near)).drift_deg_per_c)
    assert "4.9 °C warmer" in told
    assert "it takes 5 °C" in told
    far = [30.0 + k for k in range(6)]
    assert figures(homings(SHIFTS, far)).drift_deg_per_c.why == ""


def test_homings_whose_temperature_is_not_known_have_no_part_in_drift() -> None:
    found = figures(homings(SHIFTS, [20.0, 40.0, 30.0, None, 25.0]))
    assert "4 homings at a temperature" in none_of(found.drift_deg_per_c)
    assert found.rising_deviation_deg.why == ""


def test_figures_are_of_the_controller_and_figures_of_the_newest_homing() -> None:
    found = homings([*SHIFTS, None, 0.1, 0.1])
    found[6:] = [replace(one, controller="ffffffffffff") for one in found[6:]]
    told = figures(found)
    assert "3 homings can be compared" in none_of(told.rising_deviation_deg)
    assert told.hysteresis_deg.homings == 3
