"""Hop resistances from stands: lines that are known, what cannot be fitted, and scipy."""

import math
from random import Random

import numpy as np
import pytest
from scipy import stats

from coordinator.health.hop_estimate import (
    DIVIDER_UNCERTAINTY,
    KEPT_STANDS,
    LEAST_STANDS,
    WATTS_UNCERTAINTY,
    HopEstimate,
    HopEstimator,
    coverage_factor,
)
from simulator.physics.supply import chain_voltages

HOPS = [0.2, 0.05, 0.4]


def stands(
    count: int, gains: tuple[float, ...] = (1.0, 1.0, 1.0), noise_v: float = 0.0
) -> HopEstimate:
    random, estimator = Random(5), HopEstimator(3)
    for k in range(count):
        watts = [(2.0, 6.0, 20.0)[k // 2**j % 3] for j in range(3)]
        volts = chain_voltages(24.0, HOPS, watts)
        read = [v * g + random.gauss(0.0, noise_v) for v, g in zip(volts, gains, strict=True)]
        estimator.add(read, watts)
    return estimator.estimate()


def test_without_noise_every_hop_and_the_source_come_out_as_they_are() -> None:
    found = stands(12)
    assert [hop.ohm for hop in found.hops] == pytest.approx(HOPS, abs=1e-9)
    assert found.source_v == pytest.approx(24.0)
    assert all(hop.stands == 12 and hop.reason == "" for hop in found.hops)


def test_dividers_that_are_off_by_more_than_a_hop_drops_hide_nothing() -> None:
    # 1 % of 24 V is 0.24 V; the second hop drops some 0.07 V.
    found = stands(30, gains=(1.01, 0.99, 1.01))
    for hop, ohm in zip(found.hops, HOPS, strict=True):
        assert hop.ohm is not None
        assert hop.half_width_ohm is not None
        assert abs(hop.ohm - ohm) < hop.half_width_ohm


def test_what_loads_and_dividers_may_be_off_stays_however_many_stands_there_are() -> None:
    hop = stands(120).hops[2]
    assert hop.uncertainty_ohm is not None
    # The last hop carries one joint alone: the whole share of its load, and the dividers.
    assert hop.uncertainty_ohm > WATTS_UNCERTAINTY * HOPS[2]
    assert hop.uncertainty_ohm < math.hypot(WATTS_UNCERTAINTY * HOPS[2], DIVIDER_UNCERTAINTY)


def test_the_line_and_its_scatter_are_those_of_linear_algebra() -> None:
    # HC3 as its authors have it, (X'X)⁻¹ X' diag(e²/(1−h)²) X (X'X)⁻¹, by numpy.
    random, estimator = Random(2), HopEstimator(1)
    rows = []
    for k in range(20):
        watts = 2.0 + 3.0 * (k % 5)
        volts = chain_voltages(24.0, [0.3], [watts])[0] + random.gauss(0.0, 0.02)
        estimator.add([volts], [watts])
        rows.append((watts / volts, volts))
    table = np.array([(1.0, current) for current, _ in rows])
    inverse = np.linalg.inv(table.T @ table)
    dropped = np.array([-volts for _, volts in rows])
    line = inverse @ table.T @ dropped
    leverage = np.einsum("ij,jk,ik->i", table, inverse, table)
    middle = table.T @ np.diag(((dropped - table @ line) / (1 - leverage)) ** 2) @ table
    shown = (inverse @ middle @ inverse)[1, 1]
    hop = estimator.estimate().hops[0]
    assert hop.ohm == pytest.approx(line[1])
    unseen = (line[1] * WATTS_UNCERTAINTY) ** 2 + (DIVIDER_UNCERTAINTY * line[1]) ** 2
    assert hop.uncertainty_ohm == pytest.approx(math.sqrt(shown + unseen))


@pytest.mark.parametrize("freedom", [6, 10, 30, 1_000, math.inf])
def test_the_coverage_factor_is_students(freedom: float) -> None:
    assert coverage_factor(freedom) == pytest.approx(stats.t.ppf(0.95, freedom), abs=1e-3)


def test_too_few_stands_give_no_figure() -> None:
    found = stands(LEAST_STANDS - 1)
    assert {hop.ohm for hop in found.hops} == {None}
    assert found.source_v is None
    assert found.hops[0].reason == "loads stood still 7 times so far, 8 are needed"
    assert stands(LEAST_STANDS).hops[0].ohm is not None


def test_loads_that_do_not_differ_give_no_figure() -> None:
    estimator = HopEstimator(2)
    for _ in range(50):
        estimator.add([23.9, 23.8], [10.0, 10.0])
    assert estimator.estimate().hops[1].reason == (
        "the current through it changed by 0.00 A only, 0.1 A are needed"
    )


def test_readings_that_scatter_too_much_give_no_figure() -> None:
    hop = stands(9, noise_v=0.3).hops[1]
    assert hop.ohm is None
    assert hop.reason.endswith("Ω, too wide")


def test_a_resistance_below_zero_is_no_figure_but_a_joint_out_of_order() -> None:
    estimator = HopEstimator(2)
    for k in range(20):
        watts = [3.0, 3.0 + 8.0 * (k % 2)]
        first, second = chain_voltages(24.0, [0.1, 0.5], watts)
        estimator.add([second, first], watts)
    hop = estimator.estimate().hops[1]
    assert hop.ohm is None
    assert "another order than the arm file says" in hop.reason


def test_old_stands_are_forgotten() -> None:
    estimator = HopEstimator(1)
    for ohm in (0.1, 0.5):
        for k in range(KEPT_STANDS):
            watts = [2.0 + 10.0 * (k % 2)]
            estimator.add(chain_voltages(24.0, [ohm], watts), watts)
    hop = estimator.estimate().hops[0]
    assert hop.stands == KEPT_STANDS
    assert hop.ohm == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("volts", "watts", "sentence"),
    [
        ([24.0], [1.0, 1.0], "A stand of 1 voltages and 2 loads is none of 2 joints."),
        ([24.0, 0.0], [1.0, 1.0], "No joint draws from 0 V."),
    ],
)
def test_what_is_no_stand_is_refused(volts: list[float], watts: list[float], sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        HopEstimator(2).add(volts, watts)
