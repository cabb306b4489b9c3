"""Play at most, by home edges: against scipy, and against sensors whose hysteresis is known."""

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from coordinator.accuracy.edge_reversal import LEAST_HOMINGS, edge_reversal
from coordinator.accuracy.no_figure import NoFigure
from coordinator.health.home_drift import places_of
from tests.coordinator.health.hall_truth import HYSTERESIS_DEG, WARM_C, Sensor

FOUND = (0.21, 0.20, 0.22, 0.19, 0.21, 0.20)
MANY = st.lists(st.floats(0.01, 5.0), min_size=LEAST_HOMINGS, max_size=30)


def test_bound_is_the_mean_and_what_its_uncertainty_leaves_open_by_student_s_t() -> None:
    found = edge_reversal(FOUND, late=0.005, resolution=1e-5)
    # Computed: mean 0.205, s 0.010488, u 0.0042817.
    assert found.mean == pytest.approx(0.205)
    assert found.deviation == pytest.approx(0.010488, abs=5e-7)
    assert found.uncertainty == pytest.approx(0.0042817, abs=5e-8)
    t = float(stats.t.ppf(0.975, 5))
    assert found.bound == pytest.approx(0.205 + t * 0.0042817, abs=5e-5)
    assert (found.count, found.late, found.is_seen) == (6, 0.005, True)


@given(MANY)
def test_uncertainty_is_the_standard_error_of_the_mean_or_what_a_count_leaves_open(
    values: list[float],
) -> None:
    found = edge_reversal(values, 0.0, 1e-3)
    # GUM (JCGM 100:2008), F.2.2.1: 0.29 of the resolution.
    expected = max(float(stats.sem(values)), 1e-3 / 12**0.5)
    assert found.uncertainty == pytest.approx(expected, rel=1e-6, abs=1e-12)


@given(st.lists(st.floats(-1.0, 1.0), max_size=LEAST_HOMINGS - 1))
def test_of_too_few_homings_no_bound_is_told(values: list[float]) -> None:
    with pytest.raises(NoFigure, match=f"it takes {LEAST_HOMINGS}"):
        edge_reversal(values, 0.0, 1e-5)


def test_edges_that_are_met_too_soon_are_no_play() -> None:
    with pytest.raises(NoFigure, match=r"0\.205° sooner in the direction of travel"):
        edge_reversal([-one for one in FOUND], 0.0, 1e-5)


@pytest.mark.parametrize("values", [(0.0,) * 5, (0.01, -0.01, 0.0, 0.02, -0.01)])
def test_what_scatter_hides_is_not_told_as_none(values: tuple[float, ...]) -> None:
    found = edge_reversal(values, 0.0, 1e-4)
    assert not found.is_seen
    assert found.bound > 0.0


def test_bound_covers_what_a_richer_sensor_does() -> None:
    """Of 6 homings; without noise of its own a sensor says how much later it is in truth."""
    apart = []
    for seed in range(400):
        homings = Sensor(random.Random(seed)).homings([WARM_C] * 6)
        values = [one.hysteresis_deg for one in places_of(homings)]
        apart.append(edge_reversal([one for one in values if one is not None], 0.004, 1e-5))
    assert all(one.bound > HYSTERESIS_DEG for one in apart if one.mean > HYSTERESIS_DEG)
    covered = sum(one.bound >= HYSTERESIS_DEG for one in apart) / len(apart)
    # One side of a t distribution; what is noticed late comes on top.
    assert covered >= 0.975 - 0.03
