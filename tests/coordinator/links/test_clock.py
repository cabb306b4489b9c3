"""Arm time and sleep (design section 2); no test reads the clocks for their values."""

import time

import pytest

from coordinator.links.clock import SleepWatch, arm_now_up_us, arm_now_us, boot_now_us


def test_arm_time_is_the_raw_monotonic_clock_rounded_outwards(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    readings = {time.CLOCK_MONOTONIC_RAW: 5_000_999, time.CLOCK_BOOTTIME: 7_000_001}
    monkeypatch.setattr(time, "clock_gettime_ns", readings.__getitem__)
    assert (arm_now_us(), arm_now_up_us(), boot_now_us()) == (5_000, 5_001, 7_000)
    readings[time.CLOCK_MONOTONIC_RAW] = 5_000_000
    assert (arm_now_us(), arm_now_up_us()) == (5_000, 5_000)


def test_a_sleep_is_told_once_with_its_length() -> None:
    watch = SleepWatch(1_000, 9_000)
    assert watch.check(2_000, 10_000) is None
    assert watch.check(3_000, 3_611_000) == 3_600_000
    assert watch.check(4_000, 3_612_000) is None


def test_a_slewed_clock_is_no_sleep_however_far_it_drifts() -> None:
    # NTP slews the boot clock by up to 500 ppm against the raw one: 0.1 ms between two sends.
    watch = SleepWatch(0, 0)
    assert all(watch.check(k * 200_000, k * 200_100) is None for k in range(10_000))


@pytest.mark.parametrize(("jump_us", "told"), [(50_000, None), (50_001, 50_001), (-60_000, None)])
def test_the_limit_is_fifty_ms(jump_us: int, told: int | None) -> None:
    assert SleepWatch(0, 0).check(1_000, 1_000 + jump_us) == told
