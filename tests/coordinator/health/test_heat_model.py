"""What is learnt of a joint's heat, against handbook values, scipy and the truth."""

import math
from random import Random

import numpy as np
import pytest
from scipy.optimize import curve_fit

from coordinator.health.heat_figures import figures
from coordinator.health.heat_filter import SIZE, D, H, HeatFilter, K
from coordinator.health.heat_forecast import spread
from coordinator.health.heat_model import AHEAD_S, LEAST_S, HeatModel
from coordinator.health.heat_report import Estimate, HeatReport
from tests.coordinator.health.joints import S

WARNING_C, LIMIT_C = 50.0, 58.0
REST_S = 900
TAU_S = 800.0


def first_order(
    model: HeatModel, seconds: int, *, noise_c: float = 0.15, seed: int = 1, skip: range = range(0)
) -> list[float]:
    """A quarter of an hour at 25 °C at rest, then 25 → 65 °C with τ = 800 s; gives readings."""
    noise, read = Random(seed), []
    for t in range(seconds):
        since_s = max(t - REST_S, 0)
        true_c = 65.0 - 40.0 * math.exp(-since_s / TAU_S)
        read.append(round(true_c + noise.gauss(0.0, noise_c), 2))
        if t not in skip:
            model.observe(t * S, read[-1], 1.0 if t >= REST_S else 0.0, 0)
    return read


def told(model: HeatModel, at_s: int) -> HeatReport:
    return model.report(at_s * S, WARNING_C, LIMIT_C)


def holds(one: Estimate | None, truth: float) -> bool:
    assert one is not None
    return one.low <= truth <= one.high


@pytest.mark.parametrize("seed", range(4))
def test_a_first_order_joint_gives_its_figures_as_scipy_finds_them(seed: int) -> None:
    model, seconds = HeatModel(), REST_S + 2400
    read = first_order(model, seconds, seed=seed)
    report = told(model, seconds)
    assert report.why_not == ""
    (steady_c, tau_s), _ = curve_fit(
        lambda t, steady, tau: steady + (25.0 - steady) * np.exp(-t / tau),
        np.arange(2400.0), np.array(read[REST_S:]), p0=(50.0, 500.0),
    )  # fmt: skip
    assert holds(report.steady_c, steady_c)
    assert holds(report.time_constant_s, tau_s)
    assert holds(report.ambient_c, 25.0)
    assert holds(report.rise_c, steady_c - 25.0)
    # An interval that holds everything would be none: both differ by a few per cent at most.
    assert report.steady_c is not None
    assert report.time_constant_s is not None
    assert report.steady_c.value == pytest.approx(steady_c, abs=2.5)
    assert report.time_constant_s.value == pytest.approx(tau_s, rel=0.08)
    assert report.steady_c.high - report.steady_c.low < 10


# First order, 25 → 65 °C: 50.285, 59.587, 63.009 and 64.730 °C after 1, 2, 3 and 5 τ (computed).
def test_a_joint_half_way_is_forecast_to_where_the_first_order_law_takes_it() -> None:
    model, now = HeatModel(), REST_S + 800
    first_order(model, now)
    ahead = model.outlook(now * S)
    assert ahead is not None
    for after_tau, celsius in ((2, 59.587), (3, 63.009), (5, 64.730)):
        at_s = (after_tau - 1) * TAU_S
        found = np.interp(at_s, ahead.at_s, ahead.likely_c)
        deviation = np.interp(at_s, ahead.at_s, ahead.deviation_c)
        assert abs(found - celsius) < 2 * deviation
    assert np.interp(AHEAD_S, ahead.at_s, ahead.deviation_c) < 1.0


def test_time_left_to_warning_and_limit_is_that_of_the_law() -> None:
    model, now = HeatModel(), REST_S + 600
    first_order(model, now)
    report = told(model, now)
    for left, at_c in ((report.warning, WARNING_C), (report.limit, LIMIT_C)):
        truth_s = TAU_S * math.log(40.0 / (65.0 - at_c)) - 600
        assert left is not None
        assert left.soonest_s is not None
        assert left.likely_s is not None
        assert left.soonest_s <= left.likely_s
        assert left.likely_s == pytest.approx(truth_s, rel=0.2, abs=60)
        assert left.soonest_s <= truth_s + 20
        assert left.latest_s is None or left.latest_s >= truth_s - 20


def test_a_fan_that_was_never_seen_to_come_is_not_counted_on_for_time_left() -> None:
    model, now = HeatModel(), REST_S + 540  # 44.6 °C; joints that come with this have it on at 45
    first_order(model, now)
    report = told(model, now)
    assert report.ten_minutes_c is None
    assert "hangs on its fan" in report.why_not
    assert report.limit is not None
    assert report.limit.likely_s == pytest.approx(
        TAU_S * math.log(40.0 / (65.0 - LIMIT_C)) - 540, rel=0.2
    )


def test_a_joint_that_stays_cool_never_reaches_its_limit_by_its_load() -> None:
    model = HeatModel()
    for t in range(3600):
        model.observe(t * S, 30.0 + Random(t).gauss(0, 0.15), 0.1, 0)
    report = told(model, 3600)
    assert report.limit is not None
    assert report.limit.likely_s is None
    assert report.ten_minutes_c is not None
    assert holds(report.ten_minutes_c, 30.0)


def test_what_cannot_be_told_says_why_and_gives_no_figure() -> None:
    model = HeatModel()
    first_order(model, round(LEAST_S) - 1)
    early = told(model, round(LEAST_S) - 1)
    assert early == HeatReport("its temperature must be watched for three minutes first")
    # Steady without any change: nobody can tell how fast it would warm.
    for t in range(round(LEAST_S), 1000):
        model.observe(t * S, 25.0 + Random(t).gauss(0, 0.15), 0.0, 0)
    still = told(model, 1000)
    assert "how fast it warms" in still.why_not
    assert (still.time_constant_s, still.rise_c, still.steady_c) == (None, None, None)
    later = told(model, 1000 + 120)
    assert later == HeatReport("for over a minute no temperature came that can be believed")


def test_an_outage_keeps_what_was_learnt_but_not_the_temperature() -> None:
    model, seconds = HeatModel(), REST_S + 3000
    first_order(model, seconds, skip=range(REST_S + 2000, REST_S + 2700))
    report = told(model, seconds)
    assert holds(report.steady_c, 65.0)
    assert holds(report.time_constant_s, TAU_S)
    assert holds(report.ten_minutes_c, 65.0 - 40.0 * math.exp(-3600 / TAU_S))


def test_readings_that_are_not_believed_are_not_learnt_from() -> None:
    model, well = HeatModel(), HeatModel()
    first_order(model, 2000)
    first_order(well, 2000)
    for t in range(2000, 2030):
        model.observe(t * S, None, 1.0, 0)
    assert told(model, 2030) == told(well, 2030)


def test_an_outlook_is_told_for_whole_steps_whenever_it_is_asked_for() -> None:
    # A forecast for ten minutes must not be one for 620 s because sums of fractions fall short.
    model = HeatModel()
    for k in range(400):
        model.observe(k * 1_003_700, 25.0, 0.0, 0)
    for late_us in range(0, 10 * S, 13_700):
        ahead = model.outlook(401_480_000 + late_us)
        assert ahead is not None
        assert ahead.at_s[:2] == [0.0, 20.0]
        assert AHEAD_S in ahead.at_s
        assert ahead.at_s[-1] == 6 * 3600.0


def test_a_report_is_made_anew_as_soon_as_the_fan_switches() -> None:
    model = HeatModel()
    first_order(model, 2001)
    report = told(model, 2001)
    model.observe(2001 * S, 50.0, 1.0, 100)
    assert told(model, 2001) is not report


def test_a_report_is_made_anew_once_a_bin_only() -> None:
    model = HeatModel()
    first_order(model, 2000)
    report = told(model, 2000)
    assert told(model, 2005) is report
    for t in range(2000, 2021):
        model.observe(t * S, 60.0, 1.0, 0)
    assert told(model, 2021) is not report


def test_the_fan_s_curve_and_what_it_does_are_learnt() -> None:
    # 60 °C above the air without the fan, 20 °C with it; τ = 1500 and 500 s; on at 45, off at 40.
    model, above, fan, noise = HeatModel(), 0.0, False, Random(3)
    for t in range(4 * 3600):
        load = 1.0 if t % 3600 > 600 else 0.0
        to, tau_s = (20.0, 500.0) if fan else (60.0, 1500.0)
        above += (to * load - above) / tau_s
        read = 25.0 + above + noise.gauss(0, 0.15)
        fan = read >= 40.0 if fan else read >= 45.0
        model.observe(t * S, read, load, 100 if fan else 0)
    report = told(model, 4 * 3600)
    assert report.fan_on_c == pytest.approx(45.0, abs=0.7)
    assert report.fan_off_c == pytest.approx(40.0, abs=0.7)
    assert holds(report.fan_factor, 3.0)
    assert report.fan_factor is not None
    assert report.fan_factor.value == pytest.approx(3.0, rel=0.15)


def test_columns_of_one_deviation_make_their_covariance() -> None:
    draw = np.random.default_rng(1)
    root = draw.normal(size=(7, 7))
    wanted = root @ root.T
    columns = np.array(spread([float(one) for one in wanted.ravel()]))
    assert np.allclose(columns.T @ columns, wanted)
    assert np.allclose(columns.T, np.linalg.cholesky(wanted))


def test_a_rise_at_run_current_that_is_not_known_is_named_too() -> None:
    known = HeatFilter()
    known.mean = [5.0, 0.0, 0.0, 0.03, 1 / 1500, 0.0, 0.0]
    known.covariance = [0.0] * SIZE**2
    known.covariance[H * SIZE + H] = 0.006**2  # 45 ± 15 °C at run current, and ±1 at rest
    known.covariance[K * SIZE + K] = 1e-10
    report, why_not = figures(known, 0.0, 0.05, 0.05, LIMIT_C, fan_seen=False)
    assert None not in (report.ambient_c, report.rise_c, report.steady_c)
    assert report.run_rise_c is None
    assert why_not == "what run current adds: not known to ±10 °C yet"


def test_of_what_came_just_before_no_more_is_known_at_the_beginning_than_after_a_gap() -> None:
    begun, interrupted = HeatFilter(), HeatFilter()
    interrupted.interrupt()
    strays = D * SIZE + D
    assert begun.covariance[strays] == interrupted.covariance[strays]
