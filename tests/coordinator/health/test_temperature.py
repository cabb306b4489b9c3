"""Warm, too hot, and a fan that stands still."""

import pytest

from coordinator.health.temperature import DEAD_BAND_C, FAN_STILL, HOT, WARM, fan_still, hot, warm
from tests.coordinator.health.joints import tip


@pytest.mark.parametrize(
    ("celsius", "bad"), [(None, None), (48.0, False), (48.1, None), (50.0, None), (50.1, True)]
)
def test_a_joint_is_warm_above_its_warning_and_cool_two_degrees_below(
    celsius: float | None, bad: bool | None
) -> None:
    assert warm(tip(), celsius).bad is bad


@pytest.mark.parametrize(
    ("celsius", "bad"), [(None, None), (56.0, False), (56.1, None), (58.0, None), (58.1, True)]
)
def test_a_joint_is_too_hot_above_its_limit(celsius: float | None, bad: bool | None) -> None:
    assert hot(tip(), celsius).bad is bad


@pytest.mark.parametrize(
    ("celsius", "fan_percent", "bad"),
    [
        (None, 0, None),
        (51.0, 0, True),
        (51.0, 1, False),
        (49.0, 0, None),
        (48.0, 0, False),
        (49.0, 100, False),
    ],
)
def test_a_fan_must_run_above_the_warning(
    celsius: float | None, fan_percent: int, bad: bool | None
) -> None:
    assert fan_still(tip(), celsius, fan_percent).bad is bad


def test_the_dead_band_is_as_wide_as_a_reading_may_be_off() -> None:
    # Analog Devices TMP3x data sheet: ±2 °C over −40 to 125 °C.
    assert DEAD_BAND_C == 2.0


def test_sentences_name_joint_value_and_limit() -> None:
    assert warm(tip(), 50.04).message == (
        "tip is warm: 50.0 °C when this began, above its warning at 50 °C; at its limit of 58 °C "
        "the arm stops"
    )
    assert hot(tip(), 58.31).message == (
        "tip is too hot: 58.3 °C when this began, above its limit of 58 °C; it stops and takes no "
        "new motion before it has cooled"
    )
    assert fan_still(tip(), 52.0, 0).message == (
        "tip was at 52.0 °C when this began, above its warning at 50 °C, and reports its fan at 0 "
        "%; it will get hotter"
    )


def test_what_cools_a_stepper_is_advised_and_slower_playing_is_not() -> None:
    # Its driver makes the same current at any speed (`current_a`).
    advice = WARM.advice
    assert "let it rest or play slower" not in advice
    assert "playing slower does not cool it" in advice
    for helps in ("let it rest", "fan", "idle_current", "run_current_a"):
        assert helps in advice
    assert "support" in advice  # motors off lets go of what it holds up


def test_only_what_stops_the_arm_is_a_danger() -> None:
    assert [kind.level for kind in (WARM, HOT, FAN_STILL)] == ["attention", "danger", "attention"]
