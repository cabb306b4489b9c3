"""The highest temperature of a joint that plays for a while, by what was fitted of it.

The joint is one body of heat: it goes from where it is to where it settles by 1 − e^(−t/τ)
(Newtonian cooling of a lumped capacitance, any handbook of heat transfer; from memory). A program
moves all joints at once, so every one has its run current from start to end. What one body leaves
out is stirred as that begins, as `HeatFilter` takes it to be.
"""

import math

from coordinator.health.heat_filter import READ_C, STIRRED, STRAY_S
from coordinator.health.heat_forecast import FAN_C, SURE, strays_s
from coordinator.health.heat_report import Estimate, HeatReport


def peak_c(now_c: float, heat: HeatReport, for_s: float, *, fan_runs: bool) -> Estimate | None:
    """The highest within so many seconds at run current; None where that is not known.

    Its interval is that of the figures' intervals at their worst together, so no narrower than
    theirs however they hang together, and what is stirred and the reading's noise, which hang
    together with neither, as the root of the sum of squares. A fan stays as it is: where it stands
    still that is not calmer than the truth, and where it runs but may go off nothing is told.
    """
    ambient, rise, constant = heat.ambient_c, heat.run_rise_c, heat.time_constant_s
    if ambient is None or rise is None or constant is None:
        return None
    coolest_c = ambient.low + rise.low
    if fan_runs and (
        heat.fan_off_c is None or min(now_c, coolest_c) <= heat.fan_off_c + SURE * FAN_C
    ):
        return None

    def reached(settles_c: float, constant_s: float) -> float:
        warms = (settles_c - now_c) * -math.expm1(-for_s / constant_s)
        return now_c + max(warms, 0.0)

    value = reached(ambient.value + rise.value, constant.value)
    low = value - reached(coolest_c, constant.high)
    high = reached(ambient.high + rise.high, constant.low) - value
    strays_c = _stirred(heat, rise, constant) * _most_s(constant.value, for_s)
    off_c = SURE * math.hypot(strays_c, READ_C)
    return Estimate(
        round(value, 1),
        # Whatever it does later, it is as warm as now already.
        round(max(value - math.hypot(low, off_c), now_c - SURE * READ_C), 1),
        round(value + math.hypot(high, off_c), 1),
    )


def _stirred(heat: HeatReport, rise: Estimate, constant: Estimate) -> float:
    """One standard deviation of d, in °C per s, after the jump to run current."""
    if heat.rise_c is None or rise.value <= 0.0:
        changed = 1.0  # of how much is not known
    else:
        changed = abs(1.0 - heat.rise_c.value / rise.value)
    return STIRRED * changed * rise.value / constant.value


def _most_s(constant_s: float, for_s: float) -> float:
    """The most that a stray of 1 °C/s comes to within that time: later it has gone again."""
    rate, fades = 1.0 / constant_s, 1.0 / STRAY_S
    at_s = math.log(rate / fades) / (rate - fades) if rate != fades else STRAY_S
    return strays_s(rate, min(for_s, at_s))
