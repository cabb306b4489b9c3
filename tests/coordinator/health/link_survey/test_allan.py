"""The Allan deviation against published figures, and what errors of offsets may feign."""

from itertools import accumulate

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.health.link_survey.allan import allan_deviation, hidden_deviation


def _nist_offsets() -> list[float]:
    """The 1000-point test set of NIST SP 1065, section 12.4, as offsets over a second each."""
    numbers = [1_234_567_890]
    while len(numbers) < 1000:
        numbers.append(16_807 * numbers[-1] % 2_147_483_647)
    return [0.0, *accumulate(one / 2_147_483_647 for one in numbers)]


@pytest.mark.parametrize(
    ("stride", "published"), [(1, 2.922319e-01), (10, 9.159953e-02), (100, 3.241343e-02)]
)
def test_the_overlapping_estimate_is_that_of_nist_sp_1065(stride: int, published: float) -> None:
    assert allan_deviation(_nist_offsets(), stride, 1.0) == pytest.approx(published, rel=2e-7)


def test_a_steady_rate_has_none() -> None:
    assert allan_deviation([3.0 * k for k in range(60)], 10, 1.0) == 0.0


def test_a_gap_leaves_out_what_needs_it() -> None:
    offsets: list[float | None] = [0.0, 1.0, 0.0, 1.0, 0.0, 1.0]
    whole = allan_deviation(offsets, 1, 1.0)
    offsets[0] = None
    assert allan_deviation(offsets, 1, 1.0) == whole == pytest.approx(2**0.5)


def test_too_few_offsets_give_none() -> None:
    assert allan_deviation([0.0] * 29, 10, 1.0) is None
    assert allan_deviation([0.0] * 30, 10, 1.0) == 0.0
    assert hidden_deviation([1.0] * 29, 10, 1.0) is None
    assert allan_deviation([None] * 60, 1, 1.0) is None


@given(
    st.lists(
        st.tuples(st.floats(-1e6, 1e6), st.floats(0, 1e5), st.floats(-1, 1)),
        min_size=5,
        max_size=40,
    ),
    st.integers(1, 2),
)
def test_errors_change_it_by_no_more_than_is_told(
    read: list[tuple[float, float, float]], stride: int
) -> None:
    true = allan_deviation([offset for offset, _, _ in read], stride, 1.0)
    measured = allan_deviation([offset + error * part for offset, error, part in read], stride, 1.0)
    hidden = hidden_deviation([error for _, error, _ in read], stride, 1.0)
    if true is not None and measured is not None and hidden is not None:
        assert abs(measured - true) <= hidden * (1 + 1e-9) + 1e-6
