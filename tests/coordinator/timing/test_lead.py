import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.timing.lead import (
    ATTEMPTS,
    LEAD_MAX_US,
    MARGIN_MIN_US,
    lead_us,
    margin_us,
)

MS = 1_000
qs_us = st.integers(0, 5_000_000)


@pytest.mark.parametrize(("q_ms", "margin_ms"), [(0, 20), (10, 20), (50, 30), (300, 180)])
def test_margin_is_six_tenths_of_q_but_not_under_twenty_ms(q_ms: int, margin_ms: int) -> None:
    # Design: margin = 0.6·Q, not under 20 ms.
    assert margin_us(q_ms * MS) == margin_ms * MS


@pytest.mark.parametrize(
    ("q_ms", "lead_ms"), [(0, 40), (10, 40), (14, 41), (100, 210), (500, 1050)]
)
def test_lead_is_one_and_a_half_q_and_the_margin(q_ms: int, lead_ms: int) -> None:
    # Design: lead = 1.5·Q of the slowest joint + margin; our floor for the echoes is 20 ms.
    assert lead_us(q_ms * MS) == lead_ms * MS


def test_each_retry_has_half_as_long_a_lead_again() -> None:
    assert [lead_us(100 * MS, k) for k in range(ATTEMPTS)] == [210_000, 315_000, 472_500]


def test_lead_is_less_than_one_and_a_half_seconds_whatever_the_link() -> None:
    assert lead_us(690 * MS) == 1_449 * MS
    assert lead_us(691 * MS) == LEAD_MAX_US < 1_500 * MS
    assert lead_us(600 * MS, 1) == LEAD_MAX_US


@given(qs_us, st.integers(0, ATTEMPTS - 1))
def test_margin_is_never_more_than_the_lead_and_leaves_time_to_echo(
    q_us: int, attempt: int
) -> None:
    if lead_us(q_us, attempt) == LEAD_MAX_US:
        return
    assert lead_us(q_us, attempt) - margin_us(q_us) >= 1.5 * q_us


@given(qs_us, qs_us)
def test_worse_link_never_has_the_shorter_lead_or_margin(a_us: int, b_us: int) -> None:
    low_us, high_us = sorted((a_us, b_us))
    assert MARGIN_MIN_US <= margin_us(low_us) <= margin_us(high_us)
    assert lead_us(low_us) <= lead_us(high_us)
