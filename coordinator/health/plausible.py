"""Whether a joint's temperature sensor can be believed.

A reading is no temperature where the sensor does not reach, where it jumps as no joint can warm or
cool, or where it stays exactly the same though the load changed. One that stays the same at a load
that does too is believed: what is averaged well in a steady room does just that.
"""

from typing import Final

from coordinator.codes.alarm_origin import AlarmOrigin
from coordinator.codes.priority import Priority
from coordinator.codes.sensor_state import SensorState
from coordinator.health.alarm_kind import Finding, Kind

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
FROZEN_US: Final = 600_000_000
"""For so long, at least, a reading must have stayed exactly the same to count as frozen."""
FROZEN_LOAD_S: Final = 120.0
"""And so much more or less heat must have come from the winding meanwhile, in seconds of that at
run current: even 1 W of it would warm 0.3 kg of metal by nearly a degree."""
LOOK_S: Final = 5.0
"""Longer than that between two looks nobody knows what load there was."""

IMPLAUSIBLE: Final[Kind] = Kind(
    "temperature-implausible",
    Priority.MEDIUM,
    AlarmOrigin.HEAT,
    cause="the sensor's plug or cable is loose, or the sensor broke",
    consequence="how warm the joint is nobody knows, so no program starts or goes on",
    advice="check the sensor's plug and cable; no program starts or goes on before it reads "
    "sensibly",
    over="has a sound temperature reading again",
    dead_band=f"{CALM_US / 1e6:g} s of sound readings",
)


class TemperatureSensor:
    """What is known of one joint's sensor."""

    def __init__(self, name: str) -> None:
        self.state: SensorState | None = None
        """None before the first reading of a session."""
        self.trouble = ""
        """What is wrong with it, a sentence; empty while it is believed."""
        self._name = name
        self._last_c: float | None = None
        self._last_us = 0
        self._doubted_us = 0
        self._same_since_us = 0
        self._same_load = 0.0
        """When the reading changed last, and the load then."""
        self._more_s = 0.0
        """Load beyond that since, times seconds."""

    def begin_session(self) -> None:
        """It may be another one since; what was wrong with it stays wrong until it was calm."""
        self.state = None

    def observe(
        self, celsius: float | None, now: int, *, load: float = 0.0, dead: bool = False
    ) -> Finding:
        """Take a reading, None where there is none; `dead` says that the joint misses one.

        `load` is the winding's heat as a share of that at run current.
        """
        self._compare(celsius, now, load)
        state, wrong = self._judge(celsius, now, dead=dead)
        if celsius is not None:
            self._last_c, self._last_us = celsius, now
        if wrong:
            self._doubted_us = now
            self.state = state
            self.trouble = (
                f"{self._name}: its temperature sensor {wrong}; how warm it is is not known"
            )
        elif now - self._doubted_us >= CALM_US:
            self.trouble = ""
        if not self.trouble:
            self.state = SensorState.SOUND if celsius is not None else None
        elif not wrong:
            self.state = SensorState.IMPLAUSIBLE
        return Finding(IMPLAUSIBLE, bool(self.trouble), self.trouble)

    def believed(self, celsius: float | None, at_us: int) -> float | None:
        """A reading as a temperature, None where it is none: also one that nobody looked at yet."""
        if self.state is not SensorState.SOUND or self.trouble or celsius is None:
            return None
        _, wrong = self._judge(celsius, at_us, dead=False)
        return None if wrong else celsius

    def _compare(self, celsius: float | None, now: int, load: float) -> None:
        """Whether it changed at all, and what heat there was since it did."""
        passed_s = (now - self._last_us) / 1e6
        if celsius is None or celsius != self._last_c or not 0.0 <= passed_s <= LOOK_S:
            self._same_since_us, self._same_load, self._more_s = now, load, 0.0
        else:
            self._more_s += (load - self._same_load) * passed_s

    def _judge(self, celsius: float | None, now: int, *, dead: bool) -> tuple[SensorState, str]:
        """Its state and, but where it is sound, what it does, a clause."""
        if dead:
            return SensorState.MISSING, "gives no reading"
        if celsius is None:
            return SensorState.SOUND, ""
        if celsius < LOWEST_C:
            return SensorState.OPEN, (
                f"reads {celsius:.1f} °C, below the {LOWEST_C:g} °C that it can measure, so it is "
                "open or shorted to ground"
            )
        if celsius > HIGHEST_C:
            return SensorState.SHORTED, (
                f"reads {celsius:.1f} °C, above the {HIGHEST_C:g} °C that it can measure, so it is "
                "shorted to its supply"
            )
        same_us = now - self._same_since_us
        if same_us >= FROZEN_US and abs(self._more_s) >= FROZEN_LOAD_S:
            return SensorState.FROZEN, (
                f"has read exactly {celsius:.2f} °C for {same_us / 60e6:.0f} min though the load "
                "of its motor changed, so it is frozen"
            )
        if self._last_c is None:
            return SensorState.SOUND, ""
        seconds = (now - self._last_us) / 1e6
        if abs(celsius - self._last_c) > PLAY_C + FASTEST_C_PER_S * seconds:
            return SensorState.IMPLAUSIBLE, (
                f"jumped from {self._last_c:.1f} to {celsius:.1f} °C within {seconds:.1f} s, "
                "faster than a joint can warm or cool"
            )
        return SensorState.SOUND, ""
