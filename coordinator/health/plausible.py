"""Whether a joint's temperature sensor can be believed.

A reading is implausible where the sensor does not reach, or where it jumps as no joint can warm or
cool. One that stays exactly the same is not: a joint at rest in a steady room does just that.
"""

from typing import Final

from coordinator.codes.level import Level
from coordinator.health.warnings import Finding, Kind

LOWEST_C: Final = -40.0
HIGHEST_C: Final = 125.0
"""What the sensor measures (TMP3x data sheet, Analog Devices). An input that is open or shorted to
ground reads below (0 mV would be −50 °C), one shorted to the supply above."""
FASTEST_C_PER_S: Final = 5.0
"""Copper at 10 A/mm², twice what a motor's winding is made for, without any way for its heat to go,
warms by J²·ρ/(c·d) = 10¹⁴·1.7e-8/(385·8960) ≈ 0.5 °C/s; ten times that no joint does (computed,
handbook values of copper)."""
PLAY_C: Final = 4.0
"""Two readings of one temperature may be so far apart (TMP3x data sheet: ±2 °C each)."""
CALM_US: Final = 10_000_000
"""For so long readings must be sound before they are believed again: a loose contact comes back."""

IMPLAUSIBLE: Final = Kind(
    "temperature-implausible",
    Level.ATTENTION,
    "check the sensor's plug and cable; no program starts or goes on before it reads sensibly",
    "has a sound temperature reading again",
)


class TemperatureSensor:
    """What is known of one joint's sensor."""

    def __init__(self, name: str) -> None:
        self.trouble = ""
        """What is wrong with it, a sentence; empty while it is believed."""
        self._name = name
        self._last_c: float | None = None
        self._last_us = 0
        self._doubted_us = 0

    def observe(self, celsius: float | None, now: int, *, dead: bool = False) -> Finding:
        """Take a reading, None where there is none; `dead` says that the joint misses one."""
        wrong = "gives no reading" if dead else self._wrong(celsius, now)
        if celsius is not None:
            self._last_c, self._last_us = celsius, now
        if wrong:
            self._doubted_us = now
            self.trouble = (
                f"{self._name}: its temperature sensor {wrong}; how warm it is is not known"
            )
        elif now - self._doubted_us >= CALM_US:
            self.trouble = ""
        return Finding(IMPLAUSIBLE, bool(self.trouble), self.trouble)

    def _wrong(self, celsius: float | None, now: int) -> str:
        if celsius is None:
            return ""
        if celsius < LOWEST_C:
            return (
                f"reads {celsius:.1f} °C, below the {LOWEST_C:g} °C that it can measure, so it is "
                "open or shorted to ground"
            )
        if celsius > HIGHEST_C:
            return (
                f"reads {celsius:.1f} °C, above the {HIGHEST_C:g} °C that it can measure, so it is "
                "shorted to its supply"
            )
        if self._last_c is None:
            return ""
        seconds = (now - self._last_us) / 1e6
        if abs(celsius - self._last_c) > PLAY_C + FASTEST_C_PER_S * seconds:
            return (
                f"jumped from {self._last_c:.1f} to {celsius:.1f} °C within {seconds:.1f} s, "
                "faster than a joint can warm or cool"
            )
        return ""
