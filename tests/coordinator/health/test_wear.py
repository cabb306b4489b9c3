"""Wear of a slip ring: known trends, how often the forecast holds, and when there is none."""

import math
from random import Random

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.stats import linregress

from coordinator.health.load_flow import load_flow
from coordinator.health.wandering_line import wandering_line
from coordinator.health.wear import (
    LEAST_DAYS,
    DayValue,
    day_values,
    lasting_ohm,
    most_hop_ohm,
    wear,
)


def days(count: int, slope: float, scatter_ohm: float, random: Random) -> list[DayValue]:
    return [
        DayValue(float(day), 0.1 + slope * day + random.gauss(0.0, scatter_ohm))
        for day in range(count)
    ]


def test_of_an_even_line_the_slope_is_that_of_scipy() -> None:
    values = days(40, 0.002, 0.0001, Random(1))
    theirs = linregress([one.day for one in values], [one.ohm for one in values])
    found = wear(values, 0.5)
    assert found.ohm_per_day == pytest.approx(theirs.slope, rel=1e-3)
    assert found.uncertainty_ohm_per_day is not None
    assert found.uncertainty_ohm_per_day >= theirs.stderr
    assert found.passes_day == pytest.approx((0.5 - theirs.intercept) / theirs.slope, rel=1e-3)


@pytest.mark.parametrize("lasting", [0.0, 0.004])
@pytest.mark.parametrize("limit_ohm", [0.15, 0.4])
def test_the_interval_ends_where_the_band_about_the_line_reaches_the_limit(
    lasting: float, limit_ohm: float
) -> None:
    values = days(30, 0.003, 0.01, Random(4))
    found = wear(values, limit_ohm, lasting)
    line = wandering_line([one.day for one in values], [one.ohm for one in values])
    student = 1.7011  # t of 28 degrees of freedom, 95 % (table, from memory)

    def band(day: float, way: int) -> float:
        ahead = day - line.day
        variance = line.level_variance + 2 * ahead * line.both + ahead**2 * line.slope_variance
        width = np.sqrt(variance + abs(ahead) * line.wanders + lasting**2)
        return float(line.level + line.slope * ahead + way * student * width - limit_ohm)

    assert found.earliest_day == pytest.approx(brentq(band, -1e2, 1e3, args=(1,)), rel=1e-3)
    assert found.latest_day == pytest.approx(brentq(band, -1e2, 1e4, args=(-1,)), rel=1e-3)


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
    # Not known to be even, it may be too wide, and is never too narrow.
    assert held / given > 0.87


def test_nine_of_ten_hold_it_where_a_ring_wears_by_turns_of_which_days_have_more_or_fewer() -> None:
    held = given = 0
    for number in range(300):
        random = Random(f"by turns {number}")
        ohm, varies, scatter = 0.1, random.uniform(0.2, 0.8), random.uniform(0.002, 0.01)
        slope, values = random.uniform(0.003, 0.006), list[DayValue]()
        watched, day, passed = random.randint(20, 60), 0, math.nan
        while math.isnan(passed):
            if day < watched:
                values.append(DayValue(float(day), ohm + random.gauss(0.0, scatter)))
            before, day = ohm, day + 1
            ohm += slope * random.gammavariate(1.0 / varies**2, varies**2)
            if ohm >= 0.6:
                passed = day - 1 + (0.6 - before) / (ohm - before)
        found = wear(values, 0.6)
        if found.earliest_day is None or found.latest_day is None:
            continue
        given += 1
        held += found.earliest_day <= passed <= found.latest_day
    assert given > 280
    # Days of work are skewed, which its normal distribution is not; an even line held 2 of 3.
    assert 0.80 < held / given < 0.95


def test_dividers_that_are_off_every_day_alike_do_not_average_out() -> None:
    """Values whose level is off by one draw: with it the day is held, without it is not."""
    held = {0.0: 0, 0.005: 0}
    for number in range(600):
        random = Random(f"lasting {number}")
        off = random.gauss(0.0, 0.005)
        values = [DayValue(one.day, one.ohm + off) for one in days(100, 0.002, 0.001, random)]
        for lasting in held:
            found = wear(values, 0.5, lasting)
            assert found.earliest_day is not None
            assert found.latest_day is not None
            held[lasting] += found.earliest_day <= 200.0 <= found.latest_day
    assert held[0.0] / 600 < 0.75
    assert held[0.005] / 600 > 0.87


def test_what_lasts_is_what_two_dividers_of_one_percent_make_of_all_that_lies_before() -> None:
    # 1 % anywhere within has a standard deviation of 1 %/√3 (GUM 4.3.7, from memory).
    assert lasting_ohm(0, [0.1, 0.2], 0.3) == pytest.approx(0.01 / np.sqrt(3) * 0.3)
    expected = 0.01 / np.sqrt(3) * np.hypot(0.3, 0.3 + 0.4)
    assert lasting_ohm(2, [0.1, 0.2, 0.9], 0.4) == pytest.approx(expected)


def test_a_value_is_of_the_time_since_the_fit_before_it() -> None:
    # Mostly every second day: each is of the two days that end within its own.
    found = day_values([(10, 0.1), (12, 0.2), (14, 0.3), (44, 0.4)])
    assert [(one.day, one.ohm) for one in found] == [
        (9.5, 0.1), (11.5, 0.2), (13.5, 0.3), (43.5, 0.4),
    ]  # fmt: skip
    assert day_values([(3, 0.1)]) == [DayValue(3.5, 0.1)]
    assert day_values([]) == []


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
