"""Heat against first-order figures, an integrator, steady states; the sensor against its data."""

import math
from dataclasses import replace
from random import Random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from simulator.physics.heat import (
    CODES,
    COPPER_AT_C,
    COPPER_PER_K,
    USUAL,
    Build,
    Thermal,
    code_to_celsius,
    drawn_build,
    sensor_code,
)
from simulator.physics.motor import winding_watts

S = 1_000_000
ALONE = Build(
    sink_k_per_w=8.0, print_k_per_w=math.inf, motor_j_per_k=100.0, print_j_per_k=20.0,
    copper_per_k=0.0,
)  # fmt: skip
"""A motor without a print around it and with a winding that stays as it is: first order."""


def heated() -> Thermal:
    """25 → 65 °C: 5 W over 8 K/W."""
    body = Thermal(25.0, ALONE)
    body.set_power(0, 5.0)
    return body


# First order, 25 → 65 °C (computed: T∞ + (T0 − T∞)·e^(−t/τ)).
@pytest.mark.parametrize(
    ("time_constants", "celsius"), [(0, 25.0), (1, 50.285), (2, 59.587), (3, 63.009), (5, 64.730)]
)
def test_a_motor_alone_follows_the_first_order_law(time_constants: int, celsius: float) -> None:
    body = heated()
    assert body.time_constants_s[0] == pytest.approx(800.0)
    assert body.temperature(time_constants * 800 * S) == pytest.approx(celsius, abs=0.0005)


# From three readings at equal spacing: T∞ = (T1T3 − T2²)/(T1 + T3 − 2T2),
# τ = Δt/ln[(T2 − T1)/(T3 − T2)] (computed).
@given(st.floats(1, 50), st.booleans(), st.integers(60, 1200))
def test_three_readings_give_back_the_steady_state_and_the_time_constant(
    watts: float, fan: bool, spacing_s: int
) -> None:
    body = Thermal(25.0, replace(ALONE, motor_j_per_k=200.0))
    body.set_power(0, watts)
    body.set_fan(0, fan)
    t1, t2, t3 = (body.temperature(n * spacing_s * S) for n in (1, 2, 3))
    steady = (t1 * t3 - t2 * t2) / (t1 + t3 - 2 * t2)
    assert steady == pytest.approx(body.steady_c, rel=1e-6)
    constant_s = spacing_s / math.log((t2 - t1) / (t3 - t2))
    assert constant_s == pytest.approx(body.time_constants_s[0], rel=1e-6)


def balances(
    _: float,
    c: np.ndarray,
    build: Build,
    sink_k_per_w: float,
    winding_watts: float,
    other_watts: float,
    ambient_c: float,
) -> list[float]:
    """How fast both bodies warm, in K/s."""
    motor_c, print_c = c
    across = (motor_c - print_c) / build.print_k_per_w
    heat = winding_watts * (1 + COPPER_PER_K * (motor_c - COPPER_AT_C)) + other_watts
    return [
        (heat - across - (motor_c - ambient_c) / sink_k_per_w) / build.motor_j_per_k,
        (across - (print_c - ambient_c) / build.skin_k_per_w) / build.print_j_per_k,
    ]


# Against a numerical integration of the two balances of heat, written out anew (scipy's DOP853).
@pytest.mark.parametrize("seed", range(12))
def test_two_bodies_follow_their_balances_of_heat(seed: int) -> None:
    draw = Random(seed)
    build, ambient_c = drawn_build(draw, 2.0), draw.uniform(0, 40)
    body = Thermal(ambient_c, build)
    now_s, was = 0.0, [ambient_c, ambient_c]
    for _ in range(4):
        winding, other, fan = draw.uniform(0, 12), draw.uniform(0, 3), draw.random() < 0.5
        body.set_power(round(now_s * S), winding, other)
        body.set_fan(round(now_s * S), fan)
        sink = build.sink_fan_k_per_w if fan else build.sink_k_per_w

        for_s = float(round(draw.uniform(10, 3000)))
        solved = solve_ivp(
            balances, (0, for_s), was, "DOP853", rtol=1e-10, atol=1e-10,
            args=(build, sink, winding, other, ambient_c),
        )  # fmt: skip
        was, now_s = list(solved.y[:, -1]), now_s + for_s
        assert body.temperature(round(now_s * S)) == pytest.approx(was[0], abs=1e-6)
        assert body.print_temperature(round(now_s * S)) == pytest.approx(was[1], abs=1e-6)


def test_a_steady_joint_sheds_what_its_winding_makes_at_the_resistance_it_has_then() -> None:
    body = Thermal(25.0)
    body.set_power(0, 5.0, 1.0)
    rise_k = body.steady_c - 25.0
    watts = 1.0 + 5.0 * (1 + 0.00393 * (body.steady_c - 20.0))  # IEC 60028, from memory
    assert watts == pytest.approx(rise_k / USUAL.steady_k_per_w(fan=False))
    assert body.temperature(48 * 3600 * S) == pytest.approx(body.steady_c)


def test_a_winding_that_warms_faster_than_its_heat_gets_away_runs_away() -> None:
    body = Thermal(25.0)
    body.set_power(0, 40.0)  # 40 W × 0.393 %/K × 8 K/W = 1.26, above 1 (computed)
    assert body.steady_c == math.inf
    assert body.time_constants_s[0] < 0
    read = [body.temperature(hour * 3600 * S) for hour in range(4)]
    assert read[3] - read[2] > read[2] - read[1] > read[1] - read[0]


# Common practice: a closed joint with heat sink and fan runs near 38 °C. PLA, of which such joints
# are printed, softens at 59 °C (filamentspecs.com).
def test_fan_keeps_a_usual_joint_near_38_c_and_without_it_pla_softens() -> None:
    body = Thermal(25.0)
    body.set_power(0, 0.0, 5.0)
    body.set_fan(0, True)
    assert body.steady_c == pytest.approx(38.0, abs=1.0)
    assert body.temperature(2 * 3600 * S) == pytest.approx(38.0, abs=1.0)
    body.set_fan(2 * 3600 * S, False)
    assert body.temperature(5 * 3600 * S) > 59.0
    assert 0.4 < (body.print_temperature(5 * 3600 * S) - 25) / (body.steady_c - 25) < 1.0


def test_joints_of_one_design_differ_within_their_factor_and_by_seed() -> None:
    drawn = [drawn_build(Random(seed), 1.2) for seed in range(200)]
    assert drawn[3] == drawn_build(Random(3), 1.2)
    for build in drawn:
        assert USUAL.motor_j_per_k / 1.2 <= build.motor_j_per_k <= USUAL.motor_j_per_k * 1.2
    fans = [build.sink_fan_k_per_w for build in drawn]
    assert min(fans) < 0.87 * USUAL.sink_fan_k_per_w
    assert max(fans) > 1.15 * USUAL.sink_fan_k_per_w


@given(
    st.lists(
        st.tuples(st.integers(0, 600 * S), st.floats(0, 50), st.booleans(), st.floats(-10, 40)),
        min_size=1,
        max_size=8,
    ),
    st.integers(0, 3600 * S),
)
def test_change_never_makes_the_temperature_jump_and_it_stays_between_the_extremes(
    changes: list[tuple[int, float, bool, float]], later_us: int
) -> None:
    body = Thermal(20.0, replace(USUAL, copper_per_k=0.0))  # with more heat, it runs away
    now, reachable = 0, [20.0]
    for gap, watts, fan, ambient in changes:
        now += gap
        before = body.temperature(now)
        body.set_power(now, watts)
        body.set_fan(now, fan)
        body.set_ambient(now, ambient)
        assert body.temperature(now) == pytest.approx(before, abs=1e-9)
        reachable.append(body.steady_c)
        assert min(reachable) - 1e-9 <= body.temperature(now + later_us) <= max(reachable) + 1e-9


def test_asking_in_between_changes_nothing() -> None:
    asked, left_alone = heated(), heated()
    for second in range(0, 1000, 7):
        asked.temperature(second * S)
        asked.set_power(second * S, 5.0)
    assert asked.temperature(1000 * S) == pytest.approx(left_alone.temperature(1000 * S), abs=1e-9)


# TMP3x data sheet (Analog Devices): 10 mV/°C, 750 mV at 25 °C. An ideal 12-bit converter at 3.3 V
# reads 60 °C, 1100 mV, as 1365 (computed).
@pytest.mark.parametrize(
    ("celsius", "code"), [(60.0, 1365), (25.0, 931), (-40.0, 124), (125.0, 2172)]
)
def test_sensor_reads_as_in_its_data_sheet(celsius: float, code: int) -> None:
    assert sensor_code(celsius) == code


@given(st.floats(-40, 125))
def test_reading_gives_the_temperature_back_to_half_a_step(celsius: float) -> None:
    half_step_c = 3300 / CODES / 10 / 2
    assert abs(code_to_celsius(sensor_code(celsius)) - celsius) <= half_step_c + 1e-9


def test_readings_end_at_the_converters_range_and_broken_ones_are_outside_the_sensors() -> None:
    assert sensor_code(-100.0) == 0
    assert sensor_code(500.0) == CODES - 1
    assert code_to_celsius(0) < -40.0
    assert code_to_celsius(CODES - 1) > 125.0


def test_windings_together_heat_by_the_peak_current_at_any_microstep() -> None:
    # I²R·(sin² + cos²): 1.7 A in 1.5 Ω is 4.335 W (computed).
    assert winding_watts(1.7, 1.5) == pytest.approx(4.335)
    for angle in (0.0, 0.3, math.pi / 4, 2.0):
        windings = [1.7 * math.sin(angle), 1.7 * math.cos(angle)]
        assert sum(i * i * 1.5 for i in windings) == pytest.approx(winding_watts(1.7, 1.5))
