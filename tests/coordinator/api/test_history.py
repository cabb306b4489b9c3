"""What a page that has just been opened is told of the past."""

from types import SimpleNamespace
from typing import Any

from coordinator.api.history import ANGLES_KEPT_US, WARMTH_KEPT_US, History


def state(
    now: int,
    heard_us: int | None,
    deg: float | None = 1.0,
    c: float = 30.0,
    plausible: bool = True,
) -> Any:
    joint = SimpleNamespace(
        name="elbow", heard_at_us=heard_us, position_deg=deg, temperature_c=c, plausible=plausible
    )
    return SimpleNamespace(now_us=now, joints=(joint,))


def test_ten_seconds_of_angles_are_kept_at_ten_a_second() -> None:
    history = History()
    for now in range(0, 30_000_000, 50_000):
        history.take(state(now, now - 10_000, now / 1e6))
    kept: Any = history.kept()["joints"]["elbow"]
    assert 99 <= len(kept["at_us"]) <= 102
    assert kept["at_us"][0] >= 29_950_000 - ANGLES_KEPT_US
    assert kept["deg"][-1] * 1e6 == kept["at_us"][-1] + 10_000


def test_ten_minutes_of_warmth_are_kept_at_one_in_five_seconds() -> None:
    history = History()
    for now in range(0, 1_200_000_000, 250_000):
        history.take(state(now, now))
    kept: Any = history.kept()["temperature"]["elbow"]
    assert 119 <= len(kept["at_us"]) <= 122
    assert kept["at_us"][0] >= 1_199_750_000 - WARMTH_KEPT_US


def test_a_joint_that_was_never_heard_has_no_past() -> None:
    history = History()
    history.take(state(5, None))
    assert history.kept() == {"joints": {}, "temperature": {}}


def test_a_silent_joints_warmth_ends_when_it_was_heard_last() -> None:
    history = History()
    for now in range(0, 60_000_000, 250_000):
        history.take(state(now, min(now, 20_000_000)))
    assert history.kept()["temperature"]["elbow"]["at_us"] == [
        0, 5_000_000, 10_000_000, 15_000_000, 20_000_000,
    ]  # fmt: skip


def test_a_reading_that_cannot_be_believed_is_no_warmth() -> None:
    history = History()
    history.take(state(0, 0, c=31.0))
    history.take(state(6_000_000, 6_000_000, c=-50.0, plausible=False))
    assert history.kept()["temperature"]["elbow"]["c"] == [31.0, None]


def test_an_arm_time_that_goes_back_begins_the_past_anew() -> None:
    history = History()
    history.take(state(9_000_000, 9_000_000, 5.0))
    history.take(state(1_000_000, 1_000_000, 6.0))
    assert history.kept()["joints"]["elbow"] == {"at_us": [1_000_000], "deg": [6.0]}
