"""How much rest is advised, and that it keeps the true joint below its limit."""

import math
from random import Random

import pytest

from coordinator.health.derate import rest_share
from coordinator.health.heat_model import HeatModel
from simulator.physics.heat import Thermal, code_to_celsius, sensor_code
from tests.coordinator.health.joints import S

WATTS, IDLE_WATTS, REST_LOAD, LIMIT_C = 6.0, 0.5, 0.16, 55.0


def linear(load: float) -> float:
    """25 °C and 40 K at full load."""
    return 25.0 + 40.0 * load


# 25 + 40·((1 − x) + x·0.25) < 55 needs x > 1/3 (computed); in steps of 5 %.
@pytest.mark.parametrize(
    ("load", "rest_load", "limit_c", "share"),
    [
        (1.0, 0.25, 55.0, 0.35),
        (0.5, 0.25, 55.0, 0.0),
        (1.0, 0.9, 55.0, None),
        (1.0, 0.0, 55.0, 0.3),
    ],
)
def test_the_least_share_of_rest_is_found(
    load: float, rest_load: float, limit_c: float, share: float | None
) -> None:
    assert rest_share(linear, load, rest_load, limit_c) == share


def test_the_rest_that_is_advised_keeps_the_true_joint_below_its_limit_and_less_does_not() -> None:
    body, model, noise = Thermal(25.0), HeatModel(REST_LOAD), Random(4)
    for t in range(5400):
        load = 0.0 if t < 900 else 1.0
        if t in (0, 900):
            body.set_power(t * S, WATTS * load, IDLE_WATTS)
        read = code_to_celsius(sensor_code(body.temperature(t * S) + noise.gauss(0, 0.15)))
        model.observe(t * S, read, load, 0)
    report = model.report(5400 * S, 50.0, LIMIT_C)
    share = report.rest_share
    assert share is not None
    assert report.run_rest_share == share  # its load is that of a program
    assert highest(share) < LIMIT_C
    # On the safe side of what is not known yet, but no advice never to move.
    assert share < 0.9
    assert highest(share - 0.25) > LIMIT_C


def highest(share: float) -> float:
    """Of a true joint that moves and rests by turns of two minutes for eight hours."""
    body, now, worst = Thermal(25.0), 0, -math.inf
    for _ in range(240):
        for for_s, load in ((120 * (1 - share), 1.0), (120 * share, REST_LOAD)):
            body.set_power(now, WATTS * load, IDLE_WATTS)
            now += round(for_s * S)
            worst = max(worst, body.temperature(now))
    return worst
