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


@pytest.mark.parametrize(
    ("forward_us", "back_us", "way"),
    [(81_500, 1_500, "to the joint than back"), (1_500, 81_500, "back than to the joint")],
)
def test_two_sentences_say_what_was_measured_what_it_means_and_what_to_do(
    forward_us: float, back_us: float, way: str
) -> None:
    lopsided = Lopsidedness()
    for _ in range(SAMPLES):
        finding = lopsided.observe("tip", Ways(forward_us, back_us))
    assert finding.message == (
        f"tip: messages took 80 ms longer {way} when this began, of 83 ms there and back; joints "
        "still start together within what is proved, or are refused a start, but a moving arm may "
        "hold to set this joint's clock right"
    )
    assert finding.kind.advice == (
        "end uploads and downloads on the joints' network, which make a queue one way, or take "
        "other traffic off it"
    )
    # One sentence each: the advice follows as a second.
    assert not {".", "!", "?"} & set(finding.message + finding.kind.advice)


@given(ways=st.lists(st.builds(Ways, FEW_US, FEW_US), min_size=SAMPLES, max_size=3 * SAMPLES))
def test_what_is_told_of_is_a_difference_above_both_limits(ways: list[Ways]) -> None:
    if found(list(ways)):
        last = ways[-SAMPLES:]
        assert max(abs(a - b) for a, b in last) > LEAST_US
        assert max(abs(a - b) / (a + b) for a, b in last if a + b) >= SHARE * 0.01
