"""Arm time as this host reads it, and whether the host slept.

Arm time is `CLOCK_MONOTONIC_RAW`: the plain monotonic clock is slewed by the host's own NTP by up
to 500 ppm, which would make a clock guarantee false unnoticed. The wall clock is read nowhere in
the control of the arm.
"""

import time
from typing import Final

SLEEP_LIMIT_US: Final = 50_000
"""A larger jump between the two clocks means that the host slept (design section 2).

Between two sends, 200 ms apart at most, slewing parts them by 0.1 ms at most.
"""


def arm_now_us() -> int:
    """Arm time in µs, rounded down: for an instant before something happens, as T1."""
    return time.clock_gettime_ns(time.CLOCK_MONOTONIC_RAW) // 1000


def arm_now_up_us() -> int:
    """Arm time in µs, rounded up: for an instant after something happened, as T4."""
    return -(-time.clock_gettime_ns(time.CLOCK_MONOTONIC_RAW) // 1000)


def boot_now_us() -> int:
    """Time since boot in µs, with the time that the host slept."""
    return time.clock_gettime_ns(time.CLOCK_BOOTTIME) // 1000


class SleepWatch:
    """Compares arm time, which stands still in sleep, with time since boot, which does not."""

    def __init__(self, arm_us: int, boot_us: int) -> None:
        self._apart_us = boot_us - arm_us

    def check(self, arm_us: int, boot_us: int) -> int | None:
        """How long the host slept since the last check, in µs; None when it did not."""
        jump_us = boot_us - arm_us - self._apart_us
        self._apart_us += jump_us
        return jump_us if jump_us > SLEEP_LIMIT_US else None
