"""Pose repeatability against a worked example and against what chance makes of a known scatter."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from coordinator.accuracy.repeatability import _OF_DISTANCES, repeatability

# By the formulas of ISO 9283 (from memory), command 0, in µm, computed by hand.
READINGS = [
    (10.0, 20.0, 0.0), (-20.0, 10.0, 10.0), (30.0, -10.0, -10.0), (0.0, 0.0, 20.0),
    (-10.0, -20.0, -20.0),
]  # fmt: skip


def test_figures_are_those_of_the_worked_example() -> None:
    found = repeatability(READINGS)

    assert found.bias == pytest.approx(2.000, abs=5e-4)
    assert found.mean_distance == pytest.approx(25.977, abs=5e-4)
    assert found.deviation == pytest.approx(5.1445, abs=5e-5)
    assert found.repeatability == pytest.approx(41.411, abs=5e-4)


def test_a_joint_that_always_stops_at_the_same_wrong_place_repeats_it_perfectly() -> None:
    found = repeatability([(0.25,)] * 12)

    assert (found.repeatability, found.uncertainty, found.bias) == (0.0, 0.0, 0.25)


def test_readings_that_are_all_the_same_leave_open_what_their_last_digit_does() -> None:
    # GUM (JCGM 100:2008), F.2.2.1: 0.29 of the resolution.
    found = repeatability([(0.25,)] * 12, resolution=0.01)

    assert found.uncertainty == pytest.approx(0.0029, abs=5e-5)
    scattered = [(k % 5 / 10,) for k in range(12)]
    assert repeatability(scattered, 0.01).uncertainty == repeatability(scattered).uncertainty


@pytest.mark.parametrize("count", [10, 30])
@pytest.mark.parametrize("ways", [1, 2, 3])
def test_stated_uncertainty_is_how_far_the_figure_scatters(count: int, ways: int) -> None:
    # Many operators measure the same joint, whose scatter is normal in every direction.
    chance = np.random.default_rng(9283)
    found = [
        repeatability([tuple(row) for row in chance.normal(0.0, 1.0, (count, ways)).tolist()])
        for _ in range(3000)
    ]
    scatter = np.std([one.repeatability for one in found])
    stated = np.sqrt(np.mean([one.uncertainty**2 for one in found]))

    assert 0.93 < stated / scatter < 1.1


@pytest.mark.parametrize("count", [10, 30])
def test_repeatability_of_an_angle_is_three_standard_deviations_of_it_with_its_sign(
    count: int,
) -> None:
    chance = np.random.default_rng(9284)
    rows = chance.normal(0.25, 1.0, (3000, count))
    found = [repeatability([(one,) for one in row], is_angle=True) for row in rows.tolist()]
    for one, row in zip(found[:20], rows, strict=False):
        assert one.repeatability == pytest.approx(3.0 * np.std(row, ddof=1))
    scatter = np.std([one.repeatability for one in found])
    stated = np.sqrt(np.mean([one.uncertainty**2 for one in found]))
    assert 0.93 < stated / scatter < 1.1


@pytest.mark.parametrize(
    ("ways", "distances"), [(1, stats.halfnorm), (2, stats.rayleigh), (3, stats.maxwell)]
)
def test_distances_have_the_moments_of_normal_scatter(ways: int, distances: Any) -> None:
    skewness, excess = distances.stats(moments="sk")
    found_skewness, found_kurtosis = _OF_DISTANCES[ways]
    assert found_skewness == pytest.approx(float(skewness), abs=1e-4)
    assert found_kurtosis == pytest.approx(3.0 + float(excess), abs=1e-4)


@given(
    st.lists(st.tuples(*[st.floats(-50, 50)] * 2), min_size=2, max_size=20),
    st.tuples(*[st.floats(-50, 50)] * 2),
)
def test_where_the_pose_lies_says_nothing_of_its_repeatability(
    readings: list[tuple[float, float]], shift: tuple[float, float]
) -> None:
    moved = [(x + shift[0], y + shift[1]) for x, y in readings]

    assert repeatability(moved).repeatability == pytest.approx(
        repeatability(readings).repeatability, abs=1e-6
    )


def test_one_reading_has_no_repeatability() -> None:
    with pytest.raises(ValueError, match="1 readings, a deviation needs 2"):
        repeatability([(1.0,)])
