"""Limits of shares and rates against what defines them, and against published figures."""

from math import comb, exp, factorial

import pytest
from scipy.stats import binomtest

from tests.bench.goals import FALSE_HOLDS, FIRST_ATTEMPT, SAME_PATH_TIME
from tests.bench.limits import TAIL, Limits, rate_limits, share_limits

CASES = [(0, 30), (1, 53), (40, 50), (52, 53), (677, 690), (320, 320)]


@pytest.mark.parametrize(("found", "of"), CASES)
def test_beyond_its_limits_a_share_would_show_so_little_or_so_much_in_one_of_forty(
    found: int, of: int
) -> None:
    def seen(share: float, counts: range) -> float:
        return sum(comb(of, k) * share**k * (1 - share) ** (of - k) for k in counts)

    limits = share_limits(found, of)
    if found:
        assert seen(limits.low / 100, range(found, of + 1)) == pytest.approx(TAIL)
    else:
        assert limits.low == 0
    if found < of:
        assert seen(limits.high / 100, range(found + 1)) == pytest.approx(TAIL)
    else:
        assert limits.high == 100


@pytest.mark.parametrize(("found", "of"), CASES)
def test_limits_of_a_share_are_those_of_scipy(found: int, of: int) -> None:
    theirs = binomtest(found, of).proportion_ci(0.95, "exact")
    ours = share_limits(found, of)
    assert (ours.low, ours.high) == pytest.approx((100 * theirs.low, 100 * theirs.high))


@pytest.mark.parametrize("found", [0, 1, 19])
def test_beyond_its_limits_a_rate_would_show_so_little_or_so_much_in_one_of_forty(
    found: int,
) -> None:
    def seen(rate: float) -> float:
        return sum(exp(-rate) * rate**k / factorial(k) for k in range(found + 1))

    limits = rate_limits(found, 1.0)
    assert seen(limits.high) == pytest.approx(TAIL)
    if found:
        low = limits.low
        less = seen(low) - exp(-low) * low**found / factorial(found)
        assert less == pytest.approx(1 - TAIL)
    else:
        assert limits.low == 0


# Rounded, from the table of limits for the Poisson distribution by Pearson and Hartley (Biometrika
# Tables for Statisticians, volume 1, table 40), 95 %.
@pytest.mark.parametrize(
    ("found", "low", "high"),
    [(0, 0.0, 3.69), (1, 0.0253, 5.57), (5, 1.62, 11.67), (10, 4.80, 18.39)],
)
def test_limits_of_a_rate_are_those_of_the_published_table(
    found: int, low: float, high: float
) -> None:
    limits = rate_limits(found, 2.0)
    assert 2 * limits.low == pytest.approx(low, abs=0.005)
    assert 2 * limits.high == pytest.approx(high, abs=0.005)


def test_nothing_seen_says_nothing() -> None:
    assert share_limits(0, 0) == Limits(0, 100)
    assert rate_limits(0, 0.0) == Limits(0, float("inf"))


def test_a_goal_is_proved_only_where_the_limits_too_are_on_its_right_side() -> None:
    # 95 of 100 are 95 %; that it is surely 95 % takes more.
    assert SAME_PATH_TIME.verdict("home", 95.0, Limits(88.7, 98.4)) == "met, not proved"
    assert SAME_PATH_TIME.verdict("home", 99.0, Limits(95.0, 99.9)) == "met"
    assert SAME_PATH_TIME.verdict("home", 94.9, Limits(88.0, 98.0)) == "missed, not proved"
    assert SAME_PATH_TIME.verdict("home", 80.0, Limits(70.0, 90.0)) == "missed"
    assert FALSE_HOLDS.verdict("quiet", 0.0, rate_limits(0, 30)) == "met, not proved"
    assert FALSE_HOLDS.verdict("quiet", 0.0, rate_limits(0, 93)) == "met"
    assert FALSE_HOLDS.verdict("quiet", 0.1, Limits(0.05, 0.2)) == "missed"
    assert FIRST_ATTEMPT.verdict("quiet", float("nan"), share_limits(0, 0)) == "–"
