"""The temperature warning: late, once, and not gone at the first cooler reading."""

from hypothesis import given
from hypothesis import strategies as st

from coordinator.health.temperature import DEAD_BAND_C, DELAY_US, TemperatureWarning

STEP_US = 200_000
"""Joints at rest are asked five times a second (design section 3)."""


def observed(warning: TemperatureWarning, readings: list[float]) -> list[bool]:
    """What a warning says to readings one after another."""
    return [warning.observe(reading, k * STEP_US) for k, reading in enumerate(readings)]


def test_a_joint_is_warm_only_after_it_was_above_the_warning_for_the_whole_delay() -> None:
    warning = TemperatureWarning(50.0)
    count = DELAY_US // STEP_US
    assert observed(warning, [51.0] * (count + 5)) == [False] * count + [True] + [False] * 4
    assert warning.warm


def test_one_cooler_reading_begins_the_delay_anew() -> None:
    warning = TemperatureWarning(50.0)
    count = DELAY_US // STEP_US
    assert not any(observed(warning, ([51.0] * count + [49.9]) * 3))


def test_a_reading_at_the_warning_itself_is_not_above_it() -> None:
    warning = TemperatureWarning(50.0)
    assert not any(observed(warning, [50.0] * 100))


def test_a_warm_joint_stays_so_within_the_dead_band_and_is_told_of_again_after_it() -> None:
    warning = TemperatureWarning(50.0)
    warm = [51.0] * 40
    assert sum(observed(warning, warm + [48.1, 51.0] * 50)) == 1
    found = [warning.warm]
    for reading in (48.1, 48.0):
        assert not warning.observe(reading, 0)
        found.append(warning.warm)
    assert found == [True, True, False]
    assert sum(observed(warning, warm)) == 1


spells = st.lists(st.tuples(st.floats(46.0, 54.0), st.integers(1, 40)), max_size=12)


@given(spells.map(lambda found: [reading for reading, count in found for _ in range(count)]))
def test_whatever_is_read_a_warning_is_told_once_each_time_and_never_below_the_dead_band(
    readings: list[float],
) -> None:
    warning, before = TemperatureWarning(50.0), False
    for k, reading in enumerate(readings):
        told = warning.observe(reading, k * STEP_US)
        assert told == (warning.warm and not before)
        assert not (warning.warm and reading <= 50.0 - DEAD_BAND_C)
        assert not (told and reading <= 50.0)
        before = warning.warm
