"""Wear of a slip ring: known trends, how often the forecast holds, and when there is none."""

from random import Random

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.stats import linregress

from coordinator.health.load_flow import load_flow
from coordinator.health.wear import LEAST_DAYS, DayValue, most_hop_ohm, wear


def days(count: int, slope: float, scatter_ohm: float, random: Random) -> list[DayValue]:
    return [
        DayValue(float(day), 0.1 + slope * day + random.gauss(0.0, scatter_ohm))
        for day in range(count)
    ]


def test_slope_and_its_standard_uncertainty_are_those_of_scipy() -> None:
    values = days(40, 0.002, 0.01, Random(1))
    theirs = linregress([one.day for one in values], [one.ohm for one in values])
    found = wear(values, 0.5)
    assert found.ohm_per_day == pytest.approx(theirs.slope)
    assert found.uncertainty_ohm_per_day == pytest.approx(theirs.stderr)
    assert found.passes_day == pytest.approx((0.5 - theirs.intercept) / theirs.slope)


def test_the_interval_ends_where_the_band_about_the_line_reaches_the_limit() -> None:
    values = days(30, 0.003, 0.02, Random(4))
    found = wear(values, 0.4)
    x = np.array([one.day for one in values])
    y = np.array([one.ohm for one in values])
    slope, level = np.polyfit(x, y, 1)
    scatter = np.sqrt(((y - level - slope * x) ** 2).sum() / 28)
    student = 1.7011  # t of 28 degrees of freedom, 95 % (table, from memory)

    def band(day: float, way: int) -> float:
        width = np.sqrt(1 / 30 + (day - x.mean()) ** 2 / ((x - x.mean()) ** 2).sum())
        return float(level + slope * day + way * student * scatter * width - 0.4)

    assert found.earliest_day == pytest.approx(brentq(band, 0.0, 1e3, args=(1,)), rel=1e-3)
    assert found.latest_day == pytest.approx(brentq(band, 0.0, 1e4, args=(-1,)), rel=1e-3)


def test_nine_of_ten_forecasts_hold_the_day_on_which_it_truly_passes() -> None:
    held = given = 0
    for number in range(600):
        random = Random(f"wear {number}")
        slope = random.uniform(0.001, 0.005)
        found = wear(days(random.randint(10, 60), slope, random.uniform(0.002, 0.01), random), 0.6)
        if found.earliest_day is None or found.latest_day is None:
            continue
        given += 1
        held += found.earliest_day <= 0.5 / slope <= found.latest_day
    assert given > 500
    assert 0.87 < held / given < 0.93


def test_a_ring_that_does_not_wear_has_no_day_and_says_so() -> None:
    found = wear(days(30, 0.0, 0.01, Random(3)), 0.5)
    assert found.passes_day is None
    assert found.reason.startswith("no rise is told apart from scatter: ")
    assert found.uncertainty_ohm_per_day is not None


def test_a_ring_that_is_beyond_passed_it_on_a_day_that_was() -> None:
    found = wear(days(30, 0.01, 0.001, Random(3)), 0.2)
    assert found.latest_day is not None
    assert 9.0 < found.latest_day < 11.0


def test_too_few_days_have_no_trend() -> None:
    random = Random(3)
    found = wear(days(LEAST_DAYS - 1, 0.01, 0.001, random), 0.2)
    assert (found.ohm_per_day, found.reason) == (None, "7 days have a value so far, 8 are needed")
    one_day = [DayValue(3.0, 0.1 + 0.001 * k) for k in range(20)]
    assert wear(one_day, 0.2).reason == "all values are of one day"


def test_what_a_hop_may_have_leaves_the_weakest_joint_just_its_limit() -> None:
    hops, watts, limits = [0.05] * 6, [15.0] * 6, [18.0] * 6
    most = most_hop_ohm(2, 24.0, hops, watts, limits)
    assert most is not None
    volts = load_flow(24.0, [*hops[:2], most, *hops[3:]], watts)
    assert volts is not None
    assert min(volts) == pytest.approx(18.0, abs=1e-6)
    # One load: V = V0/2 + √(V0²/4 − PR), so R = V·(V0 − V)/P.
    assert most_hop_ohm(0, 24.0, [0.1], [20.0], [18.0]) == pytest.approx(18.0 * 6.0 / 20.0)


def test_where_the_rest_leaves_too_little_no_hop_is_good_enough() -> None:
    assert most_hop_ohm(1, 24.0, [5.0, 0.1], [20.0, 20.0], [18.0, 18.0]) is None
    assert most_hop_ohm(0, 24.0, [0.1], [0.0], [18.0]) == 100.0
