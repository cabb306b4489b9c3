"""What is told of homings, against a sensor that is richer than the fits: do their figures hold?"""

import random
from collections.abc import Iterator
from math import sqrt
from statistics import fmean

import pytest
from scipy.stats import chi2, linregress

from coordinator.health.home_drift import HomeFigures, figures_of, places_of
from coordinator.health.home_state import FoundHome, state_of
from tests.coordinator.health.hall_truth import (
    FAST_DEG_S,
    HYSTERESIS_DEG,
    LATE_S,
    NOISE_DEG,
    Sensor,
)

SERIES = 300
LIMIT_DEG = 0.045
"""Half of a full step of 1.8° over a gear of 20."""
COVERED = 0.9
"""Of the series, within two standard uncertainties: 95 % were they known (GUM, from memory)."""


def figures(found: list[FoundHome]) -> HomeFigures:
    return figures_of(found, places_of(found))


def sensors() -> Iterator[tuple[Sensor, random.Random]]:
    """Independent ones, each with chance of its own for what else is drawn."""
    for seed in range(SERIES):
        yield Sensor(random.Random(f"sensor {seed}")), random.Random(f"room {seed}")


def test_standard_deviations_cover_the_noise_as_often_as_their_distribution_has_it() -> None:
    covered, freedom = 0, 11
    for sensor, _ in sensors():
        told = figures(sensor.homings([25.0] * (freedom + 1)))
        for figure in (told.rising_deviation_deg, told.falling_deviation_deg):
            assert figure.value is not None
            assert figure.uncertainty is not None
            covered += abs(figure.value - NOISE_DEG) <= 2.0 * figure.uncertainty
    # Of s ± 2 s/√(2ν) about σ, where ν s²/σ² is chi-squared: 91 % with ν of 11.
    apart = 2.0 / sqrt(2.0 * freedom)
    ends = (freedom / (1.0 + apart) ** 2, freedom / (1.0 - apart) ** 2)
    expected = chi2.cdf(ends[1], freedom) - chi2.cdf(ends[0], freedom)
    spread = sqrt(expected * (1.0 - expected) / (2 * SERIES))
    assert covered / (2 * SERIES) == pytest.approx(expected, abs=3.0 * spread)


def test_drift_covers_the_line_through_the_true_curve_over_the_temperatures_that_were() -> None:
    covered = 0
    for sensor, room in sensors():
        temperatures = [room.uniform(20.0, 45.0) for _ in range(15)]
        figure = figures(sensor.homings(temperatures)).drift_deg_per_c
        truth = linregress(temperatures, [sensor.home_deg(one) for one in temperatures]).slope
        assert figure.value is not None
        assert figure.uncertainty is not None
        covered += abs(figure.value - truth) <= 2.0 * figure.uncertainty
    assert covered >= COVERED * SERIES


def test_hysteresis_is_the_true_one_and_at_most_what_is_turned_until_an_edge_is_noticed() -> None:
    spare_deg = LATE_S * FAST_DEG_S
    covered = 0
    for sensor, _ in sensors():
        figure = figures(sensor.homings([20.0] * 12)).hysteresis_deg
        assert figure.value is not None
        assert figure.uncertainty is not None
        two = 2.0 * figure.uncertainty
        covered += HYSTERESIS_DEG - two <= figure.value <= HYSTERESIS_DEG + spare_deg + two
    assert covered >= COVERED * SERIES


def test_noise_and_warmth_alone_mark_no_joint() -> None:
    for sensor, room in sensors():
        found = sensor.homings([20.0, *(room.uniform(20.0, 45.0) for _ in range(30))])
        state = state_of(found, (), LIMIT_DEG)
        assert state is not None
        assert state.wandered_deg is None


@pytest.mark.parametrize("by_deg", [0.1, -0.15])
def test_a_sensor_that_was_knocked_aside_marks_its_joint_at_the_next_homing(by_deg: float) -> None:
    for sensor, _ in sensors():
        found, before = [], None
        for number in range(1, 8):
            if number == 7:
                sensor.moved_deg = by_deg
            one, before = sensor.homing(number, 30.0, before)
            found.append(one)
        state = state_of(found, (), LIMIT_DEG)
        assert state is not None
        assert state.wandered_deg == pytest.approx(by_deg, abs=8.0 * NOISE_DEG)


def test_of_a_room_that_stays_as_warm_no_drift_is_told_though_there_is_one() -> None:
    told = [
        figures(sensor.homings([room.uniform(22.0, 26.0) for _ in range(15)])).drift_deg_per_c
        for sensor, room in sensors()
    ]
    assert {one.value for one in told} == {None}
    assert all("it takes 5 °C" in one.why for one in told)


def test_the_truth_is_no_line_so_that_a_fit_that_shares_it_would_be_no_test() -> None:
    sensor = Sensor(random.Random(1))
    steps = [sensor.home_deg(one + 1.0) - sensor.home_deg(one) for one in (20.0, 44.0)]
    assert steps[1] > 1.2 * steps[0]
    assert fmean(steps) > 0.0
