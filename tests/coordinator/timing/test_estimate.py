import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.timing.estimate import Fit, Line, fit
from coordinator.timing.exchange import Exchange
from coordinator.timing.guarantee import Guarantee, Limit
from tests.coordinator.timing.true_clocks import TrueClock, histories

S = 1_000_000
LIMIT = 100e-6


def times(seconds: range) -> list[int]:
    return [second * S for second in seconds]


def test_line_changes_at_its_rate() -> None:
    line = Line(arm_us=10 * S, offset_us=500.0, rate=20e-6)
    assert line.at(10 * S) == 500.0
    assert line.at(60 * S) == 1500.0
    assert line.at(0) == pytest.approx(300.0)


def bend(age_us: int) -> int:
    """How far the belief lets a clock be from a straight line, in whole µs (½·a·t²)."""
    return round(0.05e-12 * age_us**2 / 2)


def test_steady_clock_with_steady_delays_is_found_exactly() -> None:
    # 30 ppm fast; limits 400 µs above and 600 µs below.
    upper = [(t, 1_000 + 30 * t // S + 400) for t in times(range(0, 61, 5))]
    lower = [(t, 1_000 + 30 * t // S - 600) for t in times(range(0, 61, 5))]
    found = fit(upper, lower, LIMIT, 60 * S)
    assert found.best.rate == pytest.approx(30e-6, abs=1e-12)
    assert found.best.at(60 * S) == pytest.approx(1_000 + 1_800 - 100)
    assert found.confirm_us == pytest.approx(500.0)
    assert found.steady


def test_slower_exchanges_do_not_matter() -> None:
    upper = [(t, 30 * t // S + 400 + 7 * (t // S % 3)) for t in times(range(61))]
    lower = [(t, 30 * t // S - 600 - 9 * (t // S % 4)) for t in times(range(61))]
    found = fit(upper, lower, LIMIT, 60 * S)
    alone = fit(
        [(t, v) for t, v in upper if t // S % 3 == 0],
        [(t, v) for t, v in lower if t // S % 4 == 0],
        LIMIT,
        60 * S,
    )
    assert found.confirm_us == pytest.approx(500.0)
    assert found.best.rate == pytest.approx(alone.best.rate, abs=0.3e-6)
    assert found.best.at(60 * S) == pytest.approx(alone.best.at(60 * S), abs=5.0)


def test_fastest_and_slowest_lines_pass_between_the_limits_at_both_ends() -> None:
    # Limits ±500 µs at 0 and 100 s, the old ones wider by ½ · 0.05 ppm/s · (100 s)² = 250 µs:
    # 1250 µs in 100 s are 12.5 ppm either way.
    upper, lower = [(0, 500), (100 * S, 500)], [(0, -500), (100 * S, -500)]
    found = fit(upper, lower, LIMIT, 100 * S)
    assert found.best.rate == pytest.approx(0.0, abs=1e-12)
    assert (found.slowest.rate, found.fastest.rate) == pytest.approx((-12.5e-6, 12.5e-6))
    assert found.error_us(100 * S, 0.0) == pytest.approx(500.0)
    # And ½ · 0.05 ppm/s · (10 s)² = 2.5 µs by what the rate may change after the fit.
    assert found.error_us(110 * S, 0.0) == pytest.approx(627.5)
    assert found.error_us(110 * S, 50.0) == pytest.approx(677.5)


@pytest.mark.parametrize("rate_ppm", [-250, 250])
def test_rate_stays_within_the_drift_bound(rate_ppm: int) -> None:
    upper = [(t, rate_ppm * t // S + 1_000) for t in times(range(60))]
    lower = [(t, rate_ppm * t // S - 1_000) for t in times(range(60))]
    found = fit(upper, lower, LIMIT, 59 * S)
    for line in (found.best, found.slowest, found.fastest):
        assert line.rate == math.copysign(LIMIT, rate_ppm)


def test_clock_whose_rate_changes_as_fast_as_believed_is_followed_from_its_newest_limits() -> None:
    # Its rate falls by 0.05 ppm/s to 0 at 120 s: a straight line would be off by up to 90 µs.
    curve = [(t, -bend(120 * S - t)) for t in times(range(121))]
    upper, lower = [(t, v + 30) for t, v in curve], [(t, v - 30) for t, v in curve]
    found = fit(upper, lower, LIMIT, 120 * S)
    assert found.steady
    assert abs(found.best.at(120 * S)) <= 10
    assert found.error_us(120 * S, found.best.at(120 * S)) >= abs(found.best.at(120 * S)) - 1


def test_clock_that_changed_its_rate_too_much_is_not_steady() -> None:
    # Slow, then fast by 50 ppm each: 1500 µs off any line at the turn, more than the limits allow.
    curve = [(t, 50 * abs(t // S - 30)) for t in times(range(61))]
    upper, lower = [(t, v + 100) for t, v in curve], [(t, v - 100) for t, v in curve]
    found = fit(upper, lower, LIMIT, 60 * S)
    assert not found.steady
    # The lower limits at 0 and 60 s meet the upper one at 30 s, widened by 90, 0 and 22.5 µs.
    assert found.confirm_us == pytest.approx(100 - 750 + (45 + 22.5) / 2)


def limits_of(history: tuple[TrueClock, list[Exchange]]) -> tuple[list[Limit], list[Limit]]:
    guarantee = Guarantee()
    for exchange in history[1]:
        guarantee.observe(exchange)
    return guarantee.upper_limits, guarantee.lower_limits


def room(line: Line, upper: list[Limit], lower: list[Limit]) -> float:
    """The least distance from a line to a limit, widened by age; negative if it crosses one."""
    above = min(value + bent(line, at_us) - line.at(at_us) for at_us, value in upper)
    below = min(line.at(at_us) - value + bent(line, at_us) for at_us, value in lower)
    return min(above, below)


def bent(line: Line, at_us: int) -> float:
    return 0.05e-12 * (line.arm_us - at_us) ** 2 / 2


any_value = st.integers(-(10**6), 10**6)
limit_lists = st.lists(st.tuples(st.integers(0, 120 * S), any_value), min_size=1, max_size=25)


@given(limit_lists, limit_lists, st.floats(-LIMIT, LIMIT), st.floats(-1e6, 1e6))
def test_no_line_within_the_drift_bound_keeps_further_away_from_the_limits(
    upper: list[Limit], lower: list[Limit], rate: float, offset_us: float
) -> None:
    upper, lower = sorted(upper), sorted(lower)
    found = fit(upper, lower, LIMIT, 120 * S)
    other = Line(120 * S, offset_us, rate)
    assert room(other, upper, lower) <= found.confirm_us + 1e-3


@given(limit_lists, limit_lists)
def test_estimate_is_between_the_limits_wherever_anything_is(
    upper: list[Limit], lower: list[Limit]
) -> None:
    upper, lower = sorted(upper), sorted(lower)
    found = fit(upper, lower, LIMIT, 120 * S)
    if found.steady:
        for line in (found.best, found.slowest, found.fastest):
            assert room(line, upper, lower) >= -1e-3
        assert found.slowest.rate - 1e-12 <= found.best.rate <= found.fastest.rate + 1e-12
    else:
        assert room(found.best, upper, lower) == pytest.approx(found.confirm_us, abs=1e-3)


wild_value = st.one_of(any_value, st.integers(-(10**16), 10**16))
wild_lists = st.lists(st.tuples(st.integers(0, 120 * S), wild_value), min_size=1, max_size=25)


@given(wild_lists, wild_lists)
def test_limits_of_any_size_give_a_rate_within_the_drift_bound(
    upper: list[Limit], lower: list[Limit]
) -> None:
    found = fit(sorted(upper), sorted(lower), LIMIT, 120 * S)
    assert -LIMIT <= found.best.rate <= LIMIT
    assert math.isfinite(found.confirm_us)


@given(histories(drift_ppm=0), st.integers(-100, 100))
def test_steady_clock_is_never_further_away_than_stated(
    history: tuple[TrueClock, list[Exchange]], rate_ppm: int
) -> None:
    # histories() of rate 0, sheared to any rate, stay those of a steady clock (to 1 µs).
    clock = history[0]
    plain_upper, plain_lower = limits_of(history)
    upper = [(t, v + rate_ppm * t // S + 1) for t, v in plain_upper]
    lower = [(t, v + rate_ppm * t // S) for t, v in plain_lower]
    newest_us = max(upper[-1][0], lower[-1][0])
    found: Fit = fit(upper, lower, LIMIT, newest_us)
    assert found.steady
    for later_us in (0, S, 60 * S):
        at_us = newest_us + later_us
        truth_us = clock.offset_us + rate_ppm * at_us / S
        error_us = found.error_us(at_us, found.best.at(at_us))
        # Offsets of up to 10¹⁵ µs are doubles of 1/8 µs here.
        assert abs(found.best.at(at_us) - truth_us) <= error_us + 2.0
