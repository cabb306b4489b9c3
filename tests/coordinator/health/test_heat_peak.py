"""The highest temperature of a joint that plays, against the closed form of a first-order body."""

import math
from dataclasses import replace

import pytest
from scipy.integrate import solve_ivp

from coordinator.health.heat_forecast import SURE
from coordinator.health.heat_model import HeatModel
from coordinator.health.heat_peak import peak_c
from coordinator.health.heat_report import NOT_YET, Estimate, HeatReport
from tests.coordinator.health.test_heat_model import LIMIT_C, REST_S, TAU_S, WARNING_C, first_order

S = 1_000_000
HEAT = HeatReport(
    "",
    ambient_c=Estimate(25.0, 24.0, 26.0),
    run_rise_c=Estimate(40.0, 37.0, 43.0),
    time_constant_s=Estimate(800.0, 700.0, 900.0),
)
READ_C = 0.06
AT_RUN = replace(HEAT, rise_c=HEAT.run_rise_c)
"""It plays already: a program is no jump of its load."""


@pytest.mark.parametrize("for_s", [1.0, 400.0, 800.0, 2400.0, 36_000.0])
def test_a_cool_joint_warms_by_the_closed_form(for_s: float) -> None:
    found = peak_c(25.0, HEAT, for_s, fan_runs=False)
    assert found is not None
    assert found.value == pytest.approx(25.0 + 40.0 * (1.0 - math.exp(-for_s / 800.0)), abs=0.051)


def test_one_time_constant_is_the_handbook_s_share_of_the_way() -> None:
    found = peak_c(25.0, HEAT, 800.0, fan_runs=False)  # 63.2 % of it
    assert found is not None
    assert found.value == pytest.approx(25.0 + 0.632 * 40.0, abs=0.06)


def test_an_integrated_body_of_heat_gets_as_warm() -> None:
    body = solve_ivp(
        lambda _, c: [(65.0 - c[0]) / 800.0], (0.0, 1234.0), [38.0], rtol=1e-9, atol=1e-9
    )
    found = peak_c(38.0, HEAT, 1234.0, fan_runs=False)
    assert found is not None
    assert found.value == pytest.approx(body.y[0].max(), abs=0.051)


def test_a_joint_that_is_warmer_than_where_it_settles_is_at_its_highest_now() -> None:
    assert peak_c(80.0, AT_RUN, 600.0, fan_runs=False) == Estimate(80.0, 79.9, 80.1)


def test_a_joint_gets_no_less_warm_than_it_is() -> None:
    found = peak_c(64.0, HEAT, 600.0, fan_runs=False)
    assert found is not None
    assert found.low == 63.9


def widened(value: float, low: float, high: float, by: float) -> tuple[float, float]:
    return value - math.hypot(value - low, by), value + math.hypot(high - value, by)


def test_the_interval_has_the_figures_at_their_worst_together() -> None:
    found = peak_c(30.0, AT_RUN, 500.0, fan_runs=False)
    assert found is not None
    value, *ends = [
        30.0 + (ambient + rise - 30.0) * (1.0 - math.exp(-500.0 / tau_s))
        for ambient, rise, tau_s in (
            (25.0, 40.0, 800.0),
            *((a, r, t) for a in (24.0, 26.0) for r in (37.0, 43.0) for t in (700.0, 900.0)),
        )
    ]
    low, high = widened(value, min(ends), max(ends), SURE * READ_C)
    assert (found.low, found.high) == pytest.approx((low, high), abs=0.051)


@pytest.mark.parametrize(("for_s", "rise_c"), [(60.0, 0.0), (300.0, 10.0), (3600.0, 10.0)])
def test_a_jump_of_load_widens_it_by_what_is_stirred(for_s: float, rise_c: float) -> None:
    """By a stray that fades in 240 s, as an integrated body follows it (`heat_filter.STIRRED`)."""
    resting = replace(HEAT, rise_c=Estimate(rise_c, rise_c, rise_c))
    found, calm = (peak_c(30.0, one, for_s, fan_runs=False) for one in (resting, AT_RUN))
    assert found is not None
    assert calm is not None
    stirred = 0.5 * (40.0 - rise_c) / 800.0
    body = solve_ivp(
        lambda _, y: [y[1] - y[0] / 800.0, -y[1] / 240.0], (0.0, for_s), [0.0, stirred],
        rtol=1e-9, atol=1e-9, max_step=5.0,
    )  # fmt: skip
    by = SURE * body.y[0].max()
    low, high = widened(found.value, calm.low, calm.high, by)
    assert found.value == calm.value
    assert (found.low, found.high) == pytest.approx((low, high), abs=0.15)
    assert found.high > calm.high


@pytest.mark.parametrize("figure", ["ambient_c", "run_rise_c", "time_constant_s"])
def test_without_one_of_the_figures_nothing_is_known(figure: str) -> None:
    assert peak_c(30.0, replace(HEAT, **{figure: None}), 500.0, fan_runs=False) is None  # type: ignore[arg-type]
    assert peak_c(30.0, NOT_YET, 500.0, fan_runs=False) is None


def test_a_fan_that_runs_is_counted_on_only_where_it_goes_on_running() -> None:
    seen = replace(HEAT, fan_off_c=40.0)
    assert peak_c(50.0, seen, 500.0, fan_runs=True) == peak_c(50.0, HEAT, 500.0, fan_runs=False)
    assert peak_c(39.0, seen, 500.0, fan_runs=True) is None
    assert peak_c(40.5, seen, 500.0, fan_runs=True) is None  # where it goes off scatters by 0.4 °C
    assert peak_c(40.8, seen, 500.0, fan_runs=True) is not None
    cooling = replace(seen, run_rise_c=Estimate(15.0, 14.0, 16.0))
    assert peak_c(50.0, cooling, 500.0, fan_runs=True) is None
    assert peak_c(50.0, HEAT, 500.0, fan_runs=True) is None  # it was never seen to go off


@pytest.mark.parametrize("seed", range(3))
def test_what_was_fitted_while_it_rested_after_a_run_tells_of_the_next_one(seed: int) -> None:
    model = HeatModel()
    first_order(model, REST_S + 2400, seed=seed)
    for t in range(REST_S + 2400, REST_S + 3000):  # drivers off: its present load adds nothing
        since_s = t - REST_S - 2400
        model.observe(t * S, 25.0 + 38.0 * math.exp(-since_s / TAU_S), 0.0, 0)
    report = model.report((REST_S + 3000) * S, WARNING_C, LIMIT_C)
    assert report.rise_c is not None
    assert report.rise_c.value == 0.0
    assert report.run_rise_c is not None
    assert report.run_rise_c.low <= 40.0 <= report.run_rise_c.high
    found = peak_c(25.0, report, 800.0, fan_runs=False)
    assert found is not None
    assert found.low <= 25.0 + 40.0 * (1.0 - math.exp(-1.0)) <= found.high
