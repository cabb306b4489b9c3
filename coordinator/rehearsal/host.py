"""A laptop's clock, from the world's true time: it stands still while the laptop sleeps."""

from typing import Final

from protocol.constants import PPM

SLEEP_LIMIT_US: Final = 50_000
"""A jump between the two clocks above which the laptop slept (as on real hosts)."""


class HostClock:
    """Arm time of one laptop. True and arm times are whole µs.

    Arm time is the raw clock: `offset_us` ahead of true time, less what was slept. Beside it runs
    the plain clock, which the host's own NTP slews; nothing here goes by it, and it is there so
    that a test can show what would happen if something did.
    """

    def __init__(self, offset_us: int = 0) -> None:
        self.slept_us = 0
        self._offset_us = offset_us
        self._slew: tuple[int, int] = (0, 0)
        self._slewed_us = 0

    def arm(self, true_us: int) -> int:
        """Arm time while the laptop is awake."""
        return true_us + self._offset_us - self.slept_us

    def true(self, arm_us: int) -> int:
        """True time at which the clock shows an arm time, if the laptop stays awake till then."""
        return arm_us - self._offset_us + self.slept_us

    def sleep(self, slept_us: int) -> None:
        """The laptop slept: its raw clock stood still for so long."""
        self.slept_us += slept_us

    def slew(self, true_us: int, rate_ppm: int) -> None:
        """From now on the host's NTP slews the plain clock at this rate."""
        self._slewed_us = self.slewed(true_us)
        self._slew = true_us, rate_ppm

    def slewed(self, true_us: int) -> int:
        """By how much the plain clock is ahead of the raw one."""
        since_us, rate_ppm = self._slew
        return self._slewed_us + (true_us - since_us) * rate_ppm // PPM
