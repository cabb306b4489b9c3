"""How warm a joint gets, and what its temperature sensor says.

One body of one heat capacity, with a resistance to the air around it that the fan lowers. Between
changes its temperature follows an exact exponential, so it is computed only when asked.
"""

import math
from typing import Final

# Common practice for a closed joint of printed plastic at 25 °C: with heat sink and fan 5 W hold it
# near 38 °C, without the fan near 65 °C, where PLA softens. Motor and sink weigh some 0.4 kg.
STILL_K_PER_W: Final = 8.0
FAN_K_PER_W: Final = 2.6
CAPACITY_J_PER_K: Final = 200.0

# TMP3x data sheet (Analog Devices): 10 mV/°C, 750 mV at 25 °C. Read by an ideal 12-bit converter.
SENSOR_MV_PER_C: Final = 10.0
SENSOR_MV_AT_25_C: Final = 750.0
REFERENCE_MV: Final = 3300.0
CODES: Final = 4096
OPEN_CODE: Final = 0
"""Of an input that is open, or shorted to ground: it is pulled down (common practice)."""
SHORTED_CODE: Final = CODES - 1
"""Of an input that is shorted to the supply."""


class Thermal:
    """The body's temperature. It begins at ambient, without power and with the fan off.

    `still_k_per_w` and `fan_k_per_w` are the thermal resistances to ambient without and with fan.
    Times are in µs; those of changes come in order, and only times since the last change are known.
    """

    def __init__(
        self,
        ambient_c: float = 25.0,
        *,
        still_k_per_w: float = STILL_K_PER_W,
        fan_k_per_w: float = FAN_K_PER_W,
        capacity_j_per_k: float = CAPACITY_J_PER_K,
        start_us: int = 0,
    ) -> None:
        self._ambient_c = ambient_c
        self._resistances = {False: still_k_per_w, True: fan_k_per_w}
        self._capacity_j_per_k = capacity_j_per_k
        self._since_us = start_us
        self._since_c = ambient_c
        self._watts = 0.0
        self._fan = False

    @property
    def time_constant_s(self) -> float:
        """Resistance × capacity: the fan makes the body follow faster too."""
        return self._resistances[self._fan] * self._capacity_j_per_k

    @property
    def steady_c(self) -> float:
        """Where the temperature goes if nothing changes, in °C."""
        return self._ambient_c + self._watts * self._resistances[self._fan]

    def temperature(self, now_us: int) -> float:
        """The true temperature in °C."""
        elapsed_s = (now_us - self._since_us) * 1e-6
        steady_c = self.steady_c
        return steady_c + (self._since_c - steady_c) * math.exp(-elapsed_s / self.time_constant_s)

    def set_power(self, now_us: int, watts: float) -> None:
        """Heat the body with this power from now on."""
        self._settle(now_us)
        self._watts = watts

    def set_fan(self, now_us: int, on: bool) -> None:
        """Switch the fan."""
        self._settle(now_us)
        self._fan = on

    def set_ambient(self, now_us: int, ambient_c: float) -> None:
        """Change the temperature of the air around, in °C."""
        self._settle(now_us)
        self._ambient_c = ambient_c

    def _settle(self, now_us: int) -> None:
        self._since_c = self.temperature(now_us)
        self._since_us = now_us


def sensor_code(temperature_c: float) -> int:
    """Convert a temperature to what the converter reads from the sensor, 0 to 4095.

    The nearest code, as from an ideal converter.
    """
    millivolts = SENSOR_MV_AT_25_C + (temperature_c - 25.0) * SENSOR_MV_PER_C
    return min(max(round(millivolts / REFERENCE_MV * CODES), 0), CODES - 1)


def code_to_celsius(code: int) -> float:
    """Convert a reading to °C. Below −40 or above 125 °C the sensor is broken or not connected."""
    return 25.0 + (code * REFERENCE_MV / CODES - SENSOR_MV_AT_25_C) / SENSOR_MV_PER_C
