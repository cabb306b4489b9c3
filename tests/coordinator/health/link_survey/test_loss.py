"""The interval of a share that was counted."""

import pytest
from scipy.stats import binomtest

from coordinator.health.link_survey.loss import wilson


@pytest.mark.parametrize(
    ("count", "of"), [(0, 1), (1, 1), (0, 1500), (3, 1500), (750, 1500), (1500, 1500), (2, 7)]
)
def test_the_interval_is_that_of_scipy(count: int, of: int) -> None:
    expected = binomtest(count, of).proportion_ci(0.95, method="wilson")
    assert wilson(count, of) == pytest.approx((expected.low, expected.high), abs=1e-12)


@pytest.mark.parametrize(
    ("count", "of", "low", "high"),
    [
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0000, 0.1611),
        (1, 29, 0.0061, 0.1718),
    ],
)
def test_the_interval_is_the_published_one(count: int, of: int, low: float, high: float) -> None:
    # Newcombe 1998, Statistics in Medicine 17, 857, table I, method 3 (from memory).
    assert wilson(count, of) == pytest.approx((low, high), abs=5e-5)


def test_a_share_of_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="0 of 0 is no share"):
        wilson(0, 0)
