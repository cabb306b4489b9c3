"""Whether a temperature sensor is believed."""

from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.codes.sensor_state import SensorState
from coordinator.health.plausible import (
    CALM_US,
    FASTEST_C_PER_S,
    FROZEN_US,
    HIGHEST_C,
    LOWEST_C,
    PLAY_C,
    TemperatureSensor,
)
from simulator.physics.heat import (
    NOISE_C,
    OPEN_CODE,
    SHORTED_CODE,
    USUAL,
    Thermal,
    code_to_celsius,
    sensor_code,
)
from simulator.physics.motor import winding_watts
from tests.coordinator.health.joints import S


def believed(readings: list[tuple[float, float | None]]) -> bool:
    """Whether a sensor is believed after readings at times in seconds."""
    sensor = TemperatureSensor("tip")
    for seconds, celsius in readings:
        sensor.observe(celsius, round(seconds * S))
    return not sensor.trouble


def test_a_reading_that_never_changes_is_plausible() -> None:
    assert believed([(0.2 * k, 25.0) for k in range(5000)])


@pytest.mark.parametrize(("celsius", "sound"), [(-40.0, True), (125.0, True), (-40.1, False)])
def test_what_the_sensor_can_measure_is_plausible(celsius: float, sound: bool) -> None:
    # Analog Devices TMP3x data sheet: −40 to 125 °C.
    assert believed([(0.0, celsius)]) is sound


@pytest.mark.parametrize(
    ("code", "says"),
    [
        (OPEN_CODE, "reads -50.0 °C, below the -40 °C that it can measure, so it is open or"),
        (SHORTED_CODE, "reads 279.9 °C, above the 125 °C that it can measure, so it is shorted"),
    ],
)
def test_an_open_and_a_shorted_sensor_are_told_apart(code: int, says: str) -> None:
    sensor = TemperatureSensor("tip")
    finding = sensor.observe(code_to_celsius(code), 0)
    assert finding.bad
    assert says in finding.message
    assert finding.message.startswith("tip: its temperature sensor")
    assert finding.message.endswith("; how warm it is is not known")


def test_a_jump_is_implausible_both_ways_and_says_from_where_to_where() -> None:
    for before, after in ((30.0, 60.0), (60.0, 30.0)):
        sensor = TemperatureSensor("tip")
        sensor.observe(before, 0)
        assert sensor.observe(after, S).bad
        assert f"jumped from {before:.1f} to {after:.1f} °C within 1.0 s" in sensor.trouble


def test_what_was_not_heard_for_long_may_have_changed_by_much() -> None:
    assert believed([(0.0, 30.0), (20.0, 60.0)])


def test_two_readings_of_one_temperature_may_be_as_far_apart_as_the_sensor_is_good_for() -> None:
    assert believed([(0.2 * k, 50.0 + 2.0 * (-1) ** k) for k in range(50)])


def test_a_sensor_is_believed_again_once_it_was_sound_for_a_while() -> None:
    sensor = TemperatureSensor("tip")
    sensor.observe(-50.0, 0)
    sensor.observe(25.0, 1 * S)  # and this is a jump
    assert sensor.observe(25.0, 1 * S + CALM_US - 1).bad
    assert not sensor.observe(25.0, 1 * S + CALM_US).bad
    assert sensor.trouble == ""


def test_a_loose_contact_is_not_believed_between_times() -> None:
    sensor = TemperatureSensor("tip")
    for k in range(20):
        found = [sensor.observe(celsius, k * 8 * S + at) for at, celsius in ((0, -50.0), (S, 25.0))]
        assert all(finding.bad for finding in found)


def test_a_joint_that_misses_a_reading_is_told_of_and_one_that_has_none_yet_is_not() -> None:
    sensor = TemperatureSensor("tip")
    assert sensor.observe(None, 0).bad is False
    assert sensor.observe(None, 0, dead=True).bad is True
    assert "gives no reading" in sensor.trouble


@given(
    st.lists(
        st.tuples(st.floats(0.2, 100.0), st.floats(0.0, 10.0), st.booleans(), st.floats(-20, 60)),
        max_size=30,
    )
)
def test_whatever_a_joint_does_its_own_temperature_is_plausible(
    phases: list[tuple[float, float, bool, float]],
) -> None:
    # The hottest that arm files allow: 10 A through 2 Ω, in a room that changes at once.
    sensor, body, now = TemperatureSensor("tip"), Thermal(), 0
    for seconds, current_a, fan, ambient_c in phases:
        body.set_power(now, winding_watts(current_a, 2.0))
        body.set_fan(now, fan)
        body.set_ambient(now, ambient_c)
        for k in range(10):
            at = now + round(seconds * S * k / 10)
            celsius = code_to_celsius(sensor_code(body.temperature(at)))
            if LOWEST_C <= celsius <= HIGHEST_C:
                assert not sensor.observe(celsius, at).bad
        now += round(seconds * S)


def test_the_fastest_plausible_change_is_far_beyond_any_joint() -> None:
    # Copper (handbook values) at 10 A/mm² without cooling, and the simulated joint at 10 A.
    copper_c_per_s = 1e7**2 * 1.7e-8 / (385 * 8960)
    joint_c_per_s = winding_watts(10.0, 2.0) / USUAL.motor_j_per_k
    assert copper_c_per_s == pytest.approx(0.49, abs=0.01)
    assert 3 * max(copper_c_per_s, joint_c_per_s) <= FASTEST_C_PER_S
    assert PLAY_C == 2 * 2.0  # ±2 °C, twice


@pytest.mark.parametrize(
    ("celsius", "dead", "state"),
    [
        (30.0, False, SensorState.SOUND),
        (code_to_celsius(OPEN_CODE), False, SensorState.OPEN),
        (code_to_celsius(SHORTED_CODE), False, SensorState.SHORTED),
        (None, True, SensorState.MISSING),
        (None, False, None),
    ],
)
def test_each_way_to_be_broken_is_a_state_of_its_own(
    celsius: float | None, dead: bool, state: SensorState | None
) -> None:
    sensor = TemperatureSensor("tip")
    assert sensor.state is None
    sensor.observe(celsius, 0, dead=dead)
    assert sensor.state is state


def test_a_jump_is_implausible_until_readings_were_calm() -> None:
    sensor = TemperatureSensor("tip")
    for second, celsius, state in (
        (0, 30.0, SensorState.SOUND),
        (1, 70.0, SensorState.IMPLAUSIBLE),
        (2, 70.0, SensorState.IMPLAUSIBLE),
        (1 + CALM_US // S, 70.1, SensorState.SOUND),
    ):
        sensor.observe(celsius, second * S)
        assert sensor.state is state


def test_a_reading_that_stays_the_same_though_the_load_changed_is_frozen() -> None:
    sensor, frozen_s = TemperatureSensor("tip"), FROZEN_US // S
    for second in range(frozen_s + 1):
        assert sensor.trouble == ""
        sensor.observe(30.12, second * S, load=0.0 if second < 60 else 0.4)
    assert str(sensor.state) == "frozen"
    assert sensor.trouble == (
        "tip: its temperature sensor has read exactly 30.12 °C for 10 min though the load of its "
        "motor changed, so it is frozen; how warm it is is not known"
    )
    for second in range(frozen_s + 1, frozen_s + 12):
        sensor.observe(30.1 + second / 1000, second * S, load=0.4)
    assert sensor.state is SensorState.SOUND


@pytest.mark.parametrize("load", [0.0, 0.3])
def test_one_that_stays_the_same_at_a_load_that_does_too_is_believed(load: float) -> None:
    sensor = TemperatureSensor("tip")
    for second in range(2 * FROZEN_US // S):
        sensor.observe(30.12, second * S, load=load)
    assert sensor.state is SensorState.SOUND


def test_a_joint_that_was_not_heard_for_long_is_not_frozen() -> None:
    sensor = TemperatureSensor("tip")
    for second in range(100):
        sensor.observe(30.12, second * S, load=1.0 if second % 2 else 0.0)
    sensor.observe(30.12, FROZEN_US + 200 * S, load=1.0)
    assert sensor.state is SensorState.SOUND


def test_noise_alone_keeps_a_simulated_sensor_from_being_frozen() -> None:
    # 0.15 °C of noise over steps of 0.08 °C: the same reading twice in a row is rare enough.
    sensor, noise = TemperatureSensor("tip"), Random(1)
    for second in range(4 * FROZEN_US // S):
        read = code_to_celsius(sensor_code(30.0 + noise.gauss(0, NOISE_C)))
        sensor.observe(read, second * S, load=float(second % 2))
        assert sensor.state is SensorState.SOUND
