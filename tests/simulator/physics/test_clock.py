"""The joint's counter: rate within both crystals' bound, monotone, and its own inverse."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulator.physics.clock import JointOscillator

S = 1_000_000.0
DAY_US = 86_400 * S

oscillators = st.builds(
    JointOscillator,
    offset_us=st.floats(-DAY_US, DAY_US),
    skew_ppm=st.floats(-40, 40),
    wander_seed=st.integers(0, 2**32),
    wander_ppm=st.floats(0, 60),
    start_us=st.floats(0, DAY_US),
)
instants = st.floats(0, 30 * DAY_US)
# Down to the microsecond that a joint's timer resolves (ESP-IDF documentation, esp_timer).
spans = st.floats(1, DAY_US)


@given(oscillators, instants)
def test_true_and_joint_time_are_inverse_to_a_microsecond(
    oscillator: JointOscillator, true_us: float
) -> None:
    # Floats of 10¹² µs resolve a ten-thousandth of one, so this is far inside the promise.
    assert abs(oscillator.true_us(oscillator.joint_us(true_us)) - true_us) < 0.01
    assert abs(oscillator.joint_us(oscillator.true_us(true_us)) - true_us) < 0.01


@given(oscillators, instants, spans)
def test_both_ways_are_monotone(oscillator: JointOscillator, at_us: float, span_us: float) -> None:
    assert oscillator.joint_us(at_us) < oscillator.joint_us(at_us + span_us)
    assert oscillator.true_us(at_us) < oscillator.true_us(at_us + span_us)


# 100 ppm: the drift bound by which the coordinator ages its limits, both crystals (design section
# 2). What floats of this size resolve is allowed on top.
@given(oscillators, instants, spans)
def test_rate_error_stays_within_100_ppm(
    oscillator: JointOscillator, at_us: float, span_us: float
) -> None:
    counted_us = oscillator.joint_us(at_us + span_us) - oscillator.joint_us(at_us)
    assert abs(counted_us - span_us) <= 100e-6 * span_us + 0.005


def test_counter_begins_at_its_offset() -> None:
    booted = JointOscillator(-7 * S, 30.0, 1, start_us=7 * S)
    assert booted.joint_us(7 * S) == 0.0
    assert JointOscillator(5.0, 30.0, 1).joint_us(0.0) == 5.0


def test_without_wander_the_counter_is_a_straight_line() -> None:
    # 40 ppm fast is 144 ms in an hour (computed).
    oscillator = JointOscillator(1000.0, 40.0, 1, wander_ppm=0.0)
    assert oscillator.joint_us(3600 * S) == pytest.approx(3600 * S + 144_000 + 1000, abs=0.01)


def test_wander_is_slow_uses_its_range_and_differs_by_seed() -> None:
    def rates_ppm(seed: int) -> list[float]:
        oscillator = JointOscillator(0.0, 0.0, seed)
        ticks = [oscillator.joint_us(second * S) for second in range(0, 24 * 3600, 10)]
        return [(b - a) / 10 - S for a, b in pairwise(ticks)]

    rates = rates_ppm(1)
    assert max(rates) > 5.0
    assert min(rates) < -5.0
    assert max(abs(rate) for rate in rates) <= 10.0
    # Slower than 0.1 ppm a second, as warming is slow.
    assert max(abs(b - a) for a, b in pairwise(rates)) < 1.0
    assert rates == rates_ppm(1)
    assert rates != rates_ppm(2)


def test_crystals_beyond_the_bound_are_refused() -> None:
    with pytest.raises(ValueError, match=r"skew of -95 ppm with a wander of 10\.0 ppm exceeds"):
        JointOscillator(0.0, -95, 1)


@given(oscillators, st.floats(0, DAY_US), st.floats(1, 1e9), st.booleans())
def test_step_moves_the_counter_from_its_instant_on(
    oscillator: JointOscillator, at_us: float, by_us: float, forward: bool
) -> None:
    before, at, after = (oscillator.joint_us(at_us + shift) for shift in (-1.0, 0.0, 1e9))
    by_us = by_us if forward else -by_us
    oscillator.step(at_us, by_us)
    assert oscillator.joint_us(at_us - 1.0) == before
    assert oscillator.joint_us(at_us) == pytest.approx(at + by_us, abs=0.001)
    assert oscillator.joint_us(at_us + 1e9) == pytest.approx(after + by_us, abs=0.001)


def test_times_that_a_step_skipped_stand_for_its_instant() -> None:
    oscillator = JointOscillator(0.0, 0.0, 1, wander_ppm=0.0)
    oscillator.step(10 * S, 3 * S)
    assert [oscillator.true_us(joint * S) for joint in (9, 11, 12.9, 13, 14)] == [
        *(9 * S, 10 * S, 10 * S, 10 * S, 11 * S)
    ]


def test_of_times_shown_twice_the_later_instant_counts() -> None:
    oscillator = JointOscillator(0.0, 0.0, 1, wander_ppm=0.0)
    oscillator.step(10 * S, -3 * S)
    assert [oscillator.true_us(joint * S) for joint in (6, 7, 9, 11)] == [
        *(6 * S, 10 * S, 12 * S, 14 * S)
    ]


def test_steps_add_up_in_order_of_time_whatever_the_order_of_scripting() -> None:
    oscillator = JointOscillator(0.0, 0.0, 1, wander_ppm=0.0)
    oscillator.step(20 * S, 5 * S)
    oscillator.step(10 * S, 3 * S)
    assert [oscillator.joint_us(true * S) for true in (9, 10, 19, 20)] == [
        *(9 * S, 13 * S, 22 * S, 28 * S)
    ]
    assert [oscillator.true_us(joint * S) for joint in (9, 12, 20, 25, 30)] == [
        *(9 * S, 10 * S, 17 * S, 20 * S, 22 * S)
    ]
