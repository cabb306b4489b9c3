import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.timing.start_delay import (
    ATTEMPTS,
    CONFIRM_MIN_US,
    START_DELAY_MAX_US,
    confirm_us,
    start_delay_us,
)

MS = 1_000
qs_us = st.integers(0, 5_000_000)


@pytest.mark.parametrize(("q_ms", "confirm_ms"), [(0, 20), (10, 20), (50, 30), (300, 180)])
def test_margin_is_six_tenths_of_q_but_not_under_twenty_ms(q_ms: int, confirm_ms: int) -> None:
    # Design section 4.1: confirmation time = 0.6 worst link delays, not under 20 ms.
    assert confirm_us(q_ms * MS) == confirm_ms * MS


@pytest.mark.parametrize(
    ("q_ms", "start_delay_ms"), [(0, 40), (10, 40), (14, 41), (100, 210), (500, 1050)]
)
def test_lead_is_one_and_a_half_q_and_the_margin(q_ms: int, start_delay_ms: int) -> None:
    # Design section 4.1: start delay = 1.5 worst link delays of the slowest joint, 20 ms at least,
    # and the confirmation time.
    assert start_delay_us(q_ms * MS) == start_delay_ms * MS


def test_each_retry_has_half_as_long_a_lead_again() -> None:
    assert [start_delay_us(100 * MS, k) for k in range(ATTEMPTS)] == [210_000, 315_000, 472_500]


def test_lead_is_less_than_one_and_a_half_seconds_whatever_the_link() -> None:
    assert start_delay_us(690 * MS) == 1_449 * MS
    assert start_delay_us(691 * MS) == START_DELAY_MAX_US < 1_500 * MS
    assert start_delay_us(600 * MS, 1) == START_DELAY_MAX_US


@given(qs_us, st.integers(0, ATTEMPTS - 1))
def test_margin_is_never_more_than_the_lead_and_leaves_time_to_echo(
    worst_delay_us: int, attempt: int
) -> None:
    if start_delay_us(worst_delay_us, attempt) == START_DELAY_MAX_US:
        return
    assert (
        start_delay_us(worst_delay_us, attempt) - confirm_us(worst_delay_us) >= 1.5 * worst_delay_us
    )


@given(qs_us, qs_us)
def test_worse_link_never_has_the_shorter_lead_or_margin(a_us: int, b_us: int) -> None:
    low_us, high_us = sorted((a_us, b_us))
    assert CONFIRM_MIN_US <= confirm_us(low_us) <= confirm_us(high_us)
    assert start_delay_us(low_us) <= start_delay_us(high_us)
