"""The figures of a joint's first-order model as people know them, each with its interval."""

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Final

from coordinator.health.derate import rest_share
from coordinator.health.heat_filter import REFERENCE_C, A, B, G, H, HeatFilter, K
from coordinator.health.heat_forecast import SLOWEST, SURE, spread
from coordinator.health.heat_report import Estimate, HeatReport

SURE_OF_RATE: Final = 3.0
"""Standard deviations by which the rate of warming must differ from none at all."""
WIDEST_C: Final = 10.0
"""A 90 % interval that reaches further to either side tells nobody anything."""


def figures(
    known: HeatFilter, fan: float, load: float, rest_load: float, limit_c: float, *, fan_seen: bool
) -> tuple[HeatReport, str]:
    """Ambient, rise, steady temperature, time constant and the fan's effect, with `fan` as its
    share now; and why some of them cannot be told, a clause or nothing. `fan_seen`: it switched.

    How much it must rest, too, for which `rest_load` is the load of rest.
    """
    told = HeatReport("")
    mean, columns = known.mean, spread(known.covariance)

    def rate(one: list[float]) -> float:
        return max(one[K] + fan * one[G], SLOWEST)

    def ambient(one: list[float]) -> float:
        return REFERENCE_C + (one[A] + fan * one[B]) / rate(one)

    def run_rise(one: list[float]) -> float:
        return max(one[H], 0.0) / rate(one)

    def rise(one: list[float]) -> float:
        return run_rise(one) * load

    def steady(one: list[float]) -> float:
        return ambient(one) + rise(one)

    def factor(one: list[float]) -> float:
        return 1.0 + max(one[G], 0.0) / max(one[K], SLOWEST)

    per_s, unsure_per_s = _of(mean, columns, rate)
    if per_s < SURE_OF_RATE * unsure_per_s:
        return told, (
            "how fast it warms is not known yet: that takes a change of its load, and as long as "
            "it warms or cools by it"
        )
    told = replace(
        told,
        time_constant_s=Estimate(
            round(1 / per_s),
            round(1 / (per_s + SURE * unsure_per_s)),
            round(1 / (per_s - SURE * unsure_per_s)),
        ),
        ambient_c=_unless_wide(mean, columns, ambient),
        rise_c=_unless_wide(mean, columns, rise),
        run_rise_c=_unless_wide(mean, columns, run_rise),
        steady_c=_unless_wide(mean, columns, steady),
        fan_factor=within(*_of(mean, columns, factor), 2) if fan_seen else None,
    )
    if told.steady_c is not None:

        def highest_c(mean_load: float) -> float:
            def settles(one: list[float]) -> float:
                return ambient(one) + run_rise(one) * mean_load

            value, deviation = _of(mean, columns, settles)
            return value + SURE * deviation

        told = replace(
            told,
            rest_share=rest_share(highest_c, load, rest_load, limit_c),
            run_rest_share=rest_share(highest_c, 1.0, rest_load, limit_c),
        )
    missing = [
        name
        for name, value in (
            ("what it is without load", told.ambient_c),
            ("what its load adds", told.rise_c),
            ("what run current adds", told.run_rise_c),
            ("where it settles", told.steady_c),
        )
        if value is None
    ]
    why = f"{', '.join(missing)}: not known to ±{WIDEST_C:.0f} °C yet" if missing else ""
    return told, why


def within(value: float, deviation: float, digits: int) -> Estimate:
    """A value with its 90 % interval, rounded."""
    reach = SURE * deviation
    return Estimate(
        round(value, digits), round(value - reach, digits), round(value + reach, digits)
    )


def _unless_wide(
    mean: list[float], columns: list[list[float]], what: Callable[[list[float]], float]
) -> Estimate | None:
    value, deviation = _of(mean, columns, what)
    return within(value, deviation, 1) if SURE * deviation <= WIDEST_C else None


def _of(
    mean: list[float], columns: list[list[float]], what: Callable[[list[float]], float]
) -> tuple[float, float]:
    """A function of the figures, and its standard deviation."""
    variance = 0.0
    for column in columns:
        up = what([m + c for m, c in zip(mean, column, strict=True)])
        down = what([m - c for m, c in zip(mean, column, strict=True)])
        variance += ((up - down) / 2) ** 2
    return what(mean), math.sqrt(variance)
