"""A link that takes longer one way than the other, as a queue in front of an upload does."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.health.lopsided import LEAST_US, SAMPLES, SHARE, Lopsidedness, Ways

FEW_US = st.floats(0, 200_000)


def found(ways: list[Ways | None]) -> bool | None:
    lopsided = Lopsidedness()
    bad: bool | None = None
    for one in ways:
        bad = lopsided.observe("tip", one).bad
    return bad


@pytest.mark.parametrize(
    ("forward_us", "back_us", "bad"),
    [
        (1_500, 1_200, False),
        (81_500, 1_200, True),
        (1_500, 81_200, True),
        (25_000, 20_000, False),  # slow, and alike both ways
        (9_000, 500, None),  # 8.5 ms of the 10 that are told of
    ],
)
def test_a_way_that_is_much_longer_is_told_of(
    forward_us: float, back_us: float, bad: bool | None
) -> None:
    assert found([Ways(forward_us, back_us)] * SAMPLES) is bad


def test_a_few_slow_exchanges_are_no_lopsided_link() -> None:
    slow = [Ways(90_000, 1_000)] * (SAMPLES // 2 - 1)
    assert found([*slow, *[Ways(1_500, 1_200)] * (SAMPLES - len(slow))]) is False


def test_nothing_is_judged_of_a_clock_that_is_not_known_or_was_found_anew() -> None:
    assert found([Ways(90_000, 1_000)] * (SAMPLES - 1)) is None
    assert found([*[Ways(90_000, 1_000)] * (SAMPLES - 1), None, Ways(90_000, 1_000)]) is None


def test_the_sentence_has_the_way_and_both_times() -> None:
    lopsided = Lopsidedness()
    for _ in range(SAMPLES):
        finding = lopsided.observe("tip", Ways(81_500, 1_500))
    assert finding.message.startswith(
        "tip: the way to the joint takes 80 ms longer than the other, of 83 ms there and back"
    )


@given(ways=st.lists(st.builds(Ways, FEW_US, FEW_US), min_size=SAMPLES, max_size=3 * SAMPLES))
def test_what_is_told_of_is_a_difference_above_both_limits(ways: list[Ways]) -> None:
    if found(list(ways)):
        last = ways[-SAMPLES:]
        assert max(abs(a - b) for a, b in last) > LEAST_US
        assert max(abs(a - b) / (a + b) for a, b in last if a + b) >= SHARE * 0.01
