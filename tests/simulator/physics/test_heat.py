"""Heat against the first-order figures, and the sensor against its data sheet."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulator.physics.heat import CODES, Thermal, code_to_celsius, sensor_code
from simulator.physics.motor import winding_watts

S = 1_000_000


def heated() -> Thermal:
    """25 → 65 °C: 5 W over 8 K/W."""
    body = Thermal(25.0, still_k_per_w=8.0, capacity_j_per_k=100.0)
    body.set_power(0, 5.0)
    return body


# First order, 25 → 65 °C (computed: T∞ + (T0 − T∞)·e^(−t/τ)).
@pytest.mark.parametrize(
    ("time_constants", "celsius"), [(0, 25.0), (1, 50.285), (2, 59.587), (3, 63.009), (5, 64.730)]
)
def test_warming_follows_the_first_order_law(time_constants: int, celsius: float) -> None:
    body = heated()
    assert body.time_constant_s == 800.0
    assert body.temperature(time_constants * 800 * S) == pytest.approx(celsius, abs=0.0005)


# From three readings at equal spacing: T∞ = (T1T3 − T2²)/(T1 + T3 − 2T2),
# τ = Δt/ln[(T2 − T1)/(T3 − T2)] (computed).
@given(st.floats(1, 50), st.booleans(), st.integers(60, 1200))
def test_three_readings_give_back_the_steady_state_and_the_time_constant(
    watts: float, fan: bool, spacing_s: int
) -> None:
    body = Thermal()
    body.set_power(0, watts)
    body.set_fan(0, fan)
    t1, t2, t3 = (body.temperature(n * spacing_s * S) for n in (1, 2, 3))
    steady = (t1 * t3 - t2 * t2) / (t1 + t3 - 2 * t2)
    assert steady == pytest.approx(body.steady_c, rel=1e-6)
    constant_s = spacing_s / math.log((t2 - t1) / (t3 - t2))
    assert constant_s == pytest.approx(body.time_constant_s, rel=1e-6)


# Common practice: a closed joint with heat sink and fan runs near 38 °C. PLA, of which such joints
# are printed, softens at 59 °C (filamentspecs.com).
def test_fan_keeps_a_usual_joint_near_38_c_and_without_it_pla_softens() -> None:
    body = Thermal(25.0)
    body.set_power(0, 5.0)
    body.set_fan(0, True)
    assert body.steady_c == pytest.approx(38.0, abs=1.0)
    assert body.temperature(3600 * S) == pytest.approx(38.0, abs=1.0)
    body.set_fan(3600 * S, False)
    assert body.temperature(4 * 3600 * S) > 59.0


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
    body = Thermal(20.0)
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
