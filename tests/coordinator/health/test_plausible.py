"""Whether a temperature sensor is believed."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.health.plausible import (
    CALM_US,
    FASTEST_C_PER_S,
    HIGHEST_C,
    LOWEST_C,
    PLAY_C,
    TemperatureSensor,
)
from simulator.physics.heat import (
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
