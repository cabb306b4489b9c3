"""Which speeds are tried, and what limit comes of them."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.accuracy.no_figure import NoFigure
from coordinator.accuracy.speed_search import (
    FACTOR,
    MARGIN,
    SpeedFound,
    Tried,
    speed_found,
    speeds,
    way_deg,
)


def tried(*rows: tuple[float, str]) -> tuple[Tried, ...]:
    return tuple(Tried(speed, 4, lost) for speed, lost in rows)


def test_highest_speed_is_the_last_without_a_lost_step_and_the_limit_stays_below() -> None:
    found = speed_found(tried((40.0, ""), (50.0, ""), (60.0, "home was found +0.36° away")))
    assert (found.highest, found.lost_at, found.ways) == (50.0, 60.0, 12)
    assert found.limit == 40.0


def test_where_no_step_was_lost_no_other_limit_comes_of_it() -> None:
    found = speed_found(tried((40.0, ""), (60.0, "")))
    assert (found.highest, found.lost_at, found.limit) == (60.0, None, None)


@pytest.mark.parametrize("rows", [(), tried((40.0, "its home edge came"))])
def test_where_steps_are_lost_at_once_no_speed_is_told(rows: tuple[Tried, ...]) -> None:
    with pytest.raises(NoFigure, match="no usable speed is known"):
        speed_found(rows)


@given(st.floats(0.1, 900.0), st.floats(1.0, 50.0))
def test_speeds_rise_by_no_more_than_the_factor_from_the_first_to_the_last(
    first: float, times: float
) -> None:
    found = speeds(first, first * times)
    assert (found[0], found[-1]) == (first, first * times)
    for slower, faster in pairwise(found):
        assert slower < faster <= slower * FACTOR * (1.0 + 1e-12)


@pytest.mark.parametrize(("first", "most"), [(50.0, 40.0), (0.0, 40.0)])
def test_speeds_that_cannot_be_are_refused(first: float, most: float) -> None:
    with pytest.raises(ValueError, match="there is no speed to be tried"):
        speeds(first, most)


@given(st.floats(0.05, 1000.0))
def test_limit_is_never_above_the_margin(highest: float) -> None:
    found = SpeedFound(tried((highest, ""), (2.0 * highest, "lost")))
    assert found.limit is not None
    assert 0.98 * (1.0 - MARGIN) * highest <= found.limit <= (1.0 - MARGIN) * highest + 1e-6


def test_way_is_long_enough_to_reach_its_speed_and_keep_it() -> None:
    # Trapezoid: D/v + v/a in all (facts of motion; computed): 60 deg/s, 120 deg/s^2, 48 deg.
    way = way_deg(60.0, 120.0)
    assert way == pytest.approx(48.0)
    assert way / 60.0 + 60.0 / 120.0 == pytest.approx(2 * 60.0 / 120.0 + 0.3)
