"""A small share of the table `wear`, and that the table can tell a bad forecast."""

from tests.bench.wear import Forecast, forecast, missed

MARGIN = 0.05
"""Of 120 forecasts a share of 0.9 has a standard deviation of 0.027 (binomial)."""


def test_nine_of_ten_intervals_hold_the_day_on_which_random_rings_are_worn_out() -> None:
    found = [forecast(number) for number in range(120)]
    assert sum(one.passes_day is not None for one in found) > 100
    assert missed(found, MARGIN) == []


def test_forecasts_that_are_late_or_too_sure_miss_the_goal() -> None:
    good = [Forecast(60, 100.0 + k / 10, 100.0, 95.0, 109.0) for k in range(100)]
    assert missed(good) == []
    sure = [Forecast(60, one.true_day, 100.0, 99.0, 101.0) for one in good]
    assert missed(sure) == ["90 % intervals of when a ring is worn out hold 11.0%"]
    assert missed([*good, Forecast(60, 100.0)]) == []
