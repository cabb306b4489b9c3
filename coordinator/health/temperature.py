"""The warning before a joint's temperature limit.

A reading that hovers about the warning must not make it come and go: it begins only once the joint
has been warmer for a while, and ends only clearly below. Dead band and delay are the usual means
against such chattering (ISA-18.2, from memory; the values are our own).
"""

DEAD_BAND_C = 2.0
"""As much as a reading may be off (TMP3x data sheet, Analog Devices: ±2 °C)."""
DELAY_US = 5_000_000
"""A motor takes minutes to warm by a degree or two; a disturbed reading is over much sooner."""


class TemperatureWarning:
    """Whether one joint is warm. Temperatures are in °C, times in µs."""

    def __init__(self, warning_c: float) -> None:
        self.warning_c = warning_c
        self.warm = False
        self._above_from_us: int | None = None

    def observe(self, temperature_c: float, now: int) -> bool:
        """Take a reading; True when the joint is found to be warm with it."""
        if self.warm:
            self.warm = temperature_c > self.warning_c - DEAD_BAND_C
            return False
        if temperature_c <= self.warning_c:
            self._above_from_us = None
            return False
        if self._above_from_us is None:
            self._above_from_us = now
        if now - self._above_from_us < DELAY_US:
            return False
        self.warm, self._above_from_us = True, None
        return True
