"""A small part of the bench's table of heat, and that the table can tell a bad forecast."""

from tests.bench.heat import Forecast, forecasts, missed

JOINTS = 40
MARGIN = 0.04
"""Of some 250 forecasts a share of 0.9 has a standard deviation of 0.02 (binomial)."""


def test_random_joints_keep_the_goals_ten_minutes_ahead() -> None:
    found = [one for seed in range(JOINTS) for one in forecasts(seed)]
    made = [one for one in found if one.made]
    assert missed(made, MARGIN) == []
    assert len(made) > 0.8 * len(found)


def test_forecasts_that_are_off_or_too_sure_miss_the_goals() -> None:
    good = [Forecast(0, True, error_c=k / 100, half_width_c=0.9) for k in range(100)]
    good = [Forecast(0, True, one.error_c, 0.9, one.error_c) for one in good]
    assert missed(good) == []
    off = [Forecast(0, True, 3.5, 5.0, 3.5) for _ in range(6)]
    assert "94.0% only" in missed([*good[:94], *off])[0]
    too_sure = [Forecast(0, True, one.error_c, 0.5, one.error_c) for one in good]
    assert missed(too_sure) == ["90% intervals cover 51.0%".replace("90%", "90 %")]
