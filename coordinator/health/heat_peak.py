"""The highest temperature of a joint that plays for a while, by what was fitted of it.

The joint is one body of heat: it goes from where it is to where it settles by 1 − e^(−t/τ)
(Newtonian cooling of a lumped capacitance, any handbook of heat transfer; from memory). A program
moves all joints at once, so every one has its run current from start to end.
"""

import math

from coordinator.health.heat_report import Estimate, HeatReport


def peak_c(now_c: float, heat: HeatReport, for_s: float, *, fan_runs: bool) -> Estimate | None:
    """The highest within so many seconds at run current; None where that is not known.

    Its interval is that of the figures' intervals at their worst together, so no narrower than
    theirs however they hang together. A fan stays as it is: where it stands still that is not
    calmer than the truth, and where it runs but may go off nothing is told.
    """
    ambient, rise, constant = heat.ambient_c, heat.run_rise_c, heat.time_constant_s
    if ambient is None or rise is None or constant is None:
        return None
    coolest_c = ambient.low + rise.low
    if fan_runs and (heat.fan_off_c is None or min(now_c, coolest_c) <= heat.fan_off_c):
        return None

    def reached(settles_c: float, constant_s: float) -> float:
        warms = (settles_c - now_c) * -math.expm1(-for_s / constant_s)
        return round(now_c + max(warms, 0.0), 1)

    return Estimate(
        reached(ambient.value + rise.value, constant.value),
        reached(coolest_c, constant.high),
        reached(ambient.high + rise.high, constant.low),
    )
