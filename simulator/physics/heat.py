"""How warm a joint gets, and what its temperature sensor says.

Two bodies: the motor with its heat sink, where driver and sensor are, and the printed gear and
housing around it. Heat goes from the motor to the air by its sink, which the fan helps, and through
the print. The winding's resistance grows with its temperature, and its power with that. All of it
is linear, so between changes both temperatures are an exact sum of two exponentials, computed only
when asked.
"""

import math
from dataclasses import dataclass
from random import Random
from typing import Final

COPPER_PER_K: Final = 0.00393
"""By which copper's resistance grows, of that at 20 °C (IEC 60028, from memory)."""
COPPER_AT_C: Final = 20.0

# TMP3x data sheet (Analog Devices): 10 mV/°C, 750 mV at 25 °C. Read by an ideal 12-bit converter.
SENSOR_MV_PER_C: Final = 10.0
SENSOR_MV_AT_25_C: Final = 750.0
REFERENCE_MV: Final = 3300.0
CODES: Final = 4096
OPEN_CODE: Final = 0
"""Of an input that is open, or shorted to ground: it is pulled down (common practice)."""
SHORTED_CODE: Final = CODES - 1
"""Of an input that is shorted to the supply."""

NOISE_C: Final = 0.15
"""One standard deviation of a reading: 2 codes of a microcontroller's converter beside a switching
driver (common practice). What it is in truth is the joint's own affair."""
LEAST: Final = 1e-9
"""Per s: two rates closer than that are one, and one nearer to zero never settles."""


@dataclass(frozen=True, slots=True)
class Build:
    """Of what a joint is made, for its heat. Thermal resistances in K/W, capacities in J/K.

    Common practice for a closed joint of printed plastic at 25 °C: with heat sink and fan 5 W hold
    the motor near 38 °C, without the fan near 65 °C, where PLA softens. Both ways out of the motor
    in parallel make that 8 and 2.6 K/W. Motor and sink weigh some 0.3 kg of iron, copper and
    aluminium (0.45 J/(g·K)), gear and housing some 50 g of PLA (1.8 J/(g·K); handbook values, from
    memory).
    """

    sink_k_per_w: float = 16.0
    """From the motor to the air, without the fan."""
    sink_fan_k_per_w: float = 3.1
    """The same with the fan."""
    print_k_per_w: float = 2.0
    """From the motor into the print; infinite for a motor alone."""
    skin_k_per_w: float = 14.0
    """From the print to the air."""
    motor_j_per_k: float = 140.0
    print_j_per_k: float = 90.0
    copper_per_k: float = COPPER_PER_K

    def steady_k_per_w(self, *, fan: bool) -> float:
        """By how much the motor is warmer than the air per watt that stays the same."""
        sink = self.sink_fan_k_per_w if fan else self.sink_k_per_w
        return 1.0 / (1.0 / sink + 1.0 / (self.print_k_per_w + self.skin_k_per_w))


USUAL: Final = Build()


def drawn_build(random: Random, factor: float) -> Build:
    """One joint of many: each figure is the usual one, at most times or over `factor`."""

    def vary(usual: float) -> float:
        varied: float = usual * factor ** random.uniform(-1.0, 1.0)
        return varied

    return Build(
        sink_k_per_w=vary(USUAL.sink_k_per_w),
        sink_fan_k_per_w=vary(USUAL.sink_fan_k_per_w),
        print_k_per_w=vary(USUAL.print_k_per_w),
        skin_k_per_w=vary(USUAL.skin_k_per_w),
        motor_j_per_k=vary(USUAL.motor_j_per_k),
        print_j_per_k=vary(USUAL.print_j_per_k),
    )


class Thermal:
    """The two temperatures. They begin at ambient, without power and with the fan off.

    Times are in µs; those of changes come in order, and only times since the last change are known.
    """

    def __init__(self, ambient_c: float = 25.0, build: Build = USUAL, *, start_us: int = 0) -> None:
        self._build = build
        self._ambient_c = ambient_c
        self._since_us = start_us
        self._motor_c = ambient_c
        self._print_c = ambient_c
        self._winding_watts = 0.0
        self._watts = 0.0
        self._fan = False
        self._solve()

    @property
    def steady_c(self) -> float:
        """Where the motor's temperature goes if nothing changes, in °C; above what any joint stands
        where its winding warms faster than the heat gets away.
        """
        return self._steady_motor_c if self._slow < 0.0 else math.inf

    @property
    def time_constants_s(self) -> tuple[float, float]:
        """The slow one and the quick one; the fan makes the joint follow faster too.

        The slow one is negative where the temperature runs away.
        """
        return -1.0 / self._slow, -1.0 / self._quick

    def temperature(self, now_us: int) -> float:
        """The motor's true temperature in °C, which is what the sensor is at."""
        return self._both(now_us)[0]

    def print_temperature(self, now_us: int) -> float:
        """The true temperature of gear and housing in °C."""
        return self._both(now_us)[1]

    def set_power(self, now_us: int, winding_watts: float, other_watts: float = 0.0) -> None:
        """Heat from now on: the winding by so much where it has 20 °C, and electronics."""
        self._settle(now_us)
        self._winding_watts, self._watts = winding_watts, other_watts
        self._solve()

    def set_fan(self, now_us: int, on: bool) -> None:
        """Switch the fan."""
        self._settle(now_us)
        self._fan = on
        self._solve()

    def set_ambient(self, now_us: int, ambient_c: float) -> None:
        """Change the temperature of the air around, in °C."""
        self._settle(now_us)
        self._ambient_c = ambient_c
        self._solve()

    def _both(self, now_us: int) -> tuple[float, float]:
        elapsed_s = (now_us - self._since_us) * 1e-6
        motor_c, print_c = (
            self._motor_c - self._steady_motor_c,
            self._print_c - self._steady_print_c,
        )
        slow, quick = self._slow, self._quick
        as_slow, as_quick = math.exp(slow * elapsed_s), math.exp(quick * elapsed_s)
        # e^(At) of a matrix with two real eigenvalues (Sylvester's formula).
        of_a, of_one = as_slow - as_quick, slow * as_quick - quick * as_slow
        spread = slow - quick
        return (
            self._steady_motor_c
            + (of_a * (self._mm * motor_c + self._mp * print_c) + of_one * motor_c) / spread,
            self._steady_print_c
            + (of_a * (self._pm * motor_c + self._pp * print_c) + of_one * print_c) / spread,
        )

    def _settle(self, now_us: int) -> None:
        if now_us != self._since_us:
            self._motor_c, self._print_c = self._both(now_us)
            self._since_us = now_us

    def _solve(self) -> None:
        """The equations for what is so now: their matrix per s, its eigenvalues, where they end."""
        build = self._build
        sink = 1.0 / (build.sink_fan_k_per_w if self._fan else build.sink_k_per_w)
        joined, skin = 1.0 / build.print_k_per_w, 1.0 / build.skin_k_per_w
        grows = self._winding_watts * build.copper_per_k
        self._mm = -(sink + joined - grows) / build.motor_j_per_k
        self._mp = joined / build.motor_j_per_k
        self._pm = joined / build.print_j_per_k
        self._pp = -(joined + skin) / build.print_j_per_k
        into_motor = (
            sink * self._ambient_c + self._winding_watts - grows * COPPER_AT_C + self._watts
        ) / build.motor_j_per_k
        into_print = skin * self._ambient_c / build.print_j_per_k
        middle = (self._mm + self._pp) / 2.0
        apart = max(math.hypot((self._mm - self._pp) / 2.0, math.sqrt(self._mp * self._pm)), LEAST)
        self._slow, self._quick = middle + apart, middle - apart
        if abs(self._slow) < LEAST:
            self._slow = LEAST  # just about to run away: no steady state, and none to divide by
        both = self._slow * self._quick
        self._steady_motor_c = (self._mp * into_print - self._pp * into_motor) / both
        self._steady_print_c = (self._pm * into_motor - self._mm * into_print) / both


def sensor_code(temperature_c: float) -> int:
    """Convert a temperature to what the converter reads from the sensor, 0 to 4095.

    The nearest code, as from an ideal converter.
    """
    millivolts = SENSOR_MV_AT_25_C + (temperature_c - 25.0) * SENSOR_MV_PER_C
    return min(max(round(millivolts / REFERENCE_MV * CODES), 0), CODES - 1)


def code_to_celsius(code: int) -> float:
    """Convert a reading to °C. Below −40 or above 125 °C the sensor is broken or not connected."""
    return 25.0 + (code * REFERENCE_MV / CODES - SENSOR_MV_AT_25_C) / SENSOR_MV_PER_C
