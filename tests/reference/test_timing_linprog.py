"""The clock estimate against scipy on the same limits: its bounds by linear programming (HiGHS),
the weighted mean by numerical integration.
"""

from typing import NamedTuple

import numpy as np
import pytest
from scipy.integrate import trapezoid
from scipy.optimize import linprog

from coordinator.timing.estimate import fit
from coordinator.timing.guarantee import Guarantee, Limit
from tests.coordinator.timing.links import PROFILE_NAMES, Answered, over
from tests.coordinator.timing.true_clocks import TrueClock

S = 1_000_000
LIMIT_PPM = 100.0
BEND_US_S2 = 0.05 / 2
"""Half the change of rate that the estimate believes in, 0.05 ppm/s."""
POWER = 20
"""Of the height, by which the estimate weights rates."""


class Programme(NamedTuple):
    """Unknowns: offset at the reference instant (µs), rate (µs/s, so ppm), margin (µs)."""

    rows: np.ndarray
    bounds_us: np.ndarray


def programme(upper: list[Limit], lower: list[Limit], arm_us: int, base_us: int) -> Programme:
    rows = [(1.0, (at_us - arm_us) / S, 1.0) for at_us, _ in upper]
    rows += [(-1.0, -(at_us - arm_us) / S, 1.0) for at_us, _ in lower]
    limits = [value - base_us + bend_us(arm_us - at_us) for at_us, value in upper]
    limits += [-(value - base_us) + bend_us(arm_us - at_us) for at_us, value in lower]
    return Programme(np.array(rows), np.array(limits))


def bend_us(age_us: int) -> float:
    """How far a clock can be from a straight line after so long."""
    return BEND_US_S2 * (age_us / S) ** 2


def mean(task: Programme, slowest_ppm: float, fastest_ppm: float) -> tuple[float, float]:
    """Offset (µs) and rate (ppm), each rate weighted by a power of the room that it leaves."""
    rates = np.linspace(slowest_ppm, fastest_ppm, 4_001)
    side, at_s = task.rows[:, 0], task.rows[:, 1] * task.rows[:, 0]
    left = task.bounds_us * side - np.outer(rates, at_s)
    high = np.where(side > 0, left, np.inf).min(axis=1)
    low = np.where(side < 0, left, -np.inf).max(axis=1)
    weights = np.clip((high - low) / (high - low).max(), 0.0, None) ** POWER
    share = weights / trapezoid(weights, rates)
    return trapezoid(share * (high + low) / 2, rates), trapezoid(share * rates, rates)


def solve(
    task: Programme, cost: tuple[float, float, float], margin: tuple[float | None, float | None]
) -> np.ndarray:
    """The unknowns with the least cost."""
    bounds = [(None, None), (-LIMIT_PPM, LIMIT_PPM), margin]
    result = linprog(cost, A_ub=task.rows, b_ub=task.bounds_us, bounds=bounds, method="highs")
    assert result.status == 0, result.message
    solution: np.ndarray = result.x
    return solution


def check(all_upper: list[Limit], all_lower: list[Limit], kept: Guarantee) -> None:
    """Compare the estimate from the limits kept with scipy's from all."""
    arm_us = max(all_upper[-1][0], all_lower[-1][0])
    found = fit(kept.upper_limits, kept.lower_limits, LIMIT_PPM * 1e-6, arm_us)
    base_us = all_upper[0][1]
    task = programme(all_upper, all_lower, arm_us, base_us)

    offset_us, rate_ppm, confirm_us = solve(task, (0.0, 0.0, -1.0), (None, None))
    assert found.confirm_us == pytest.approx(confirm_us, abs=1e-3)
    if not found.steady:
        # The widest strip is unique unless limits of both sides fall on one instant.
        assert found.best.rate * 1e6 == pytest.approx(rate_ppm, abs=1e-4)
        assert found.best.at(arm_us) - base_us == pytest.approx(offset_us, abs=1e-2)
        with pytest.raises(AssertionError, match="infeasible"):
            solve(task, (0.0, 1.0, 0.0), (0.0, 0.0))
        return
    slowest, fastest = (solve(task, (0.0, cost, 0.0), (0.0, 0.0))[1] for cost in (1.0, -1.0))
    assert found.slowest.rate * 1e6 == pytest.approx(slowest, abs=1e-4)
    assert found.fastest.rate * 1e6 == pytest.approx(fastest, abs=1e-4)
    # Seven rates stand for all of them: good for a hundredth of the room there is.
    offset_us, rate_ppm = mean(task, slowest, fastest)
    assert found.best.at(arm_us) - base_us == pytest.approx(offset_us, abs=0.02 * confirm_us)
    assert found.best.rate * 1e6 == pytest.approx(rate_ppm, abs=0.01 * (fastest - slowest))
    for later_s in (0.0, 5.0):
        lowest, highest = (
            solve(task, (cost, cost * later_s, 0.0), (0.0, 0.0)) for cost in (1.0, -1.0)
        )
        at_us = arm_us + int(later_s * S)
        best_us = found.best.at(at_us) - base_us
        error_us = max(
            highest[0] + highest[1] * later_s - best_us, best_us - lowest[0] - lowest[1] * later_s
        )
        error_us += bend_us(at_us - arm_us)
        assert found.error_us(at_us, found.best.at(at_us)) == pytest.approx(error_us, abs=1e-2)


@pytest.mark.parametrize("profile", PROFILE_NAMES)
@pytest.mark.parametrize("seconds", [20, 110])
def test_estimate_equals_linprog_on_all_limits_of_a_link(profile: str, seconds: int) -> None:
    clock = TrueClock(123_456_789, ((0, -37),))
    kept = Guarantee()
    exchanges = [
        event.exchange for event in over(profile, 7, clock, seconds) if isinstance(event, Answered)
    ]
    for exchange in exchanges:
        assert kept.observe(exchange) is None
    # That dropping limits within another's cone changes nothing is part of what is checked.
    check(
        sorted((e.t1_us, e.upper_us) for e in exchanges),
        sorted((e.t4_us, e.lower_us) for e in exchanges),
        kept,
    )


def test_estimate_equals_linprog_when_no_steady_clock_keeps_the_limits() -> None:
    # The rate goes from −90 to 90 ppm in 110 s: 2.5 ms off a line, four times a quiet link's room.
    pieces = tuple((k * 10 * S, -90 + 18 * k) for k in range(11))
    clock = TrueClock(-5_000, pieces)
    kept = Guarantee()
    exchanges = [
        event.exchange for event in over("quiet", 3, clock, 110) if isinstance(event, Answered)
    ]
    for exchange in exchanges:
        assert kept.observe(exchange) is None
    now_us = exchanges[-1].t4_us
    assert not fit(kept.upper_limits, kept.lower_limits, LIMIT_PPM * 1e-6, now_us).steady
    check(
        sorted((e.t1_us, e.upper_us) for e in exchanges),
        sorted((e.t4_us, e.lower_us) for e in exchanges),
        kept,
    )
