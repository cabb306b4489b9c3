"""What comes of what is known of a joint's heat: how warm it will be, and how sure that is."""

import math
from typing import Final, NamedTuple

from coordinator.health.heat_fan import FanRule
from coordinator.health.heat_filter import (
    REFERENCE_C,
    SIZE,
    STRAY_C_PER_S,
    STRAY_S,
    A,
    B,
    D,
    G,
    H,
    K,
    T,
)

SURE: Final = 1.645
"""Standard deviations to either side within which 90 % lie (normal distribution)."""
SLOWEST: Final = 1e-5
"""Per s: whatever is estimated, no joint follows more slowly than in a day."""
FAN_C: Final = 0.4
"""One standard deviation of the temperatures at which the fan switches: noise decides when."""


class Outlook(NamedTuple):
    """Temperatures to come, in °C, at instants that count from where the figures are."""

    at_s: list[float]
    likely_c: list[float]
    deviation_c: list[float]
    """One standard deviation."""


def outlook(
    mean: list[float],
    covariance: list[float],
    load: float,
    load_variance: float,
    fan: float,
    likely: FanRule,
    seen: FanRule,
    steps_s: list[float],
) -> Outlook:
    """The temperature after each step at one load, by the figures of `HeatFilter`.

    Its deviation is that of the figures, of the load, of the fan's switching, and of all that
    stirs later. Where the fan is only likely to do as `likely` says, the interval reaches to where
    it does no more than was `seen`.
    """
    middle = course(mean, load, fan, likely, steps_s)
    pairs = [
        (
            course([m + c for m, c in zip(mean, column, strict=True)], load, fan, likely, steps_s),
            course([m - c for m, c in zip(mean, column, strict=True)], load, fan, likely, steps_s),
        )
        for column in spread(covariance)
    ]
    if load_variance > 0.0:
        by = math.sqrt(load_variance)
        more = course(mean, load + by, fan, likely, steps_s)
        pairs.append((more, course(mean, load - by, fan, likely, steps_s)))
    for more_c, less_c in _shifted(likely):
        later = course(mean, load, fan, more_c, steps_s)
        pairs.append((later, course(mean, load, fan, less_c, steps_s)))
    otherwise = middle if seen == likely else course(mean, load, fan, seen, steps_s)
    rate = _rate(mean, fan)
    at_s, deviation_c, now_s = [], [], 0.0
    for k, step_s in enumerate(steps_s):
        now_s += step_s
        variance = _wanders(rate, now_s) + ((otherwise[k] - middle[k]) / SURE) ** 2
        for up, down in pairs:
            apart = (up[k] - down[k]) / 2
            variance += apart * apart
        at_s.append(now_s)
        deviation_c.append(math.sqrt(variance))
    return Outlook(at_s, [one + REFERENCE_C for one in middle], deviation_c)


def course(
    figures: list[float], load: float, fan: float, rule: FanRule, steps_s: list[float]
) -> list[float]:
    """T after each step at one load, exact between the fan's switchings; it follows its rule."""
    above, stray = figures[T], figures[D]
    warms = figures[A] + max(figures[H], 0.0) * load
    on = math.inf if rule.on_c is None else rule.on_c - REFERENCE_C
    off = -math.inf if rule.off_c is None else rule.off_c - REFERENCE_C
    told = []
    last_s, last_fan = -1.0, -1.0
    fades = follows = held = strays = 0.0
    for step_s in steps_s:
        if fan == 0.0 and above >= on:
            fan = rule.share
        elif fan > 0.0 and above < off:
            fan = 0.0
        if step_s != last_s or fan != last_fan:
            rate = _rate(figures, fan)
            last_s, last_fan = step_s, fan
            fades, follows = math.exp(-step_s / STRAY_S), math.exp(-step_s * rate)
            held = (1.0 - follows) / rate
            strays = strays_s(rate, step_s)
        above = above * follows + (warms + fan * figures[B]) * held + stray * strays
        stray *= fades
        told.append(above)
    return told


def strays_s(rate: float, for_s: float) -> float:
    """By how much T is off after that time for each unit of d as it began, in s."""
    follows, apart = math.exp(-for_s * rate), rate - 1.0 / STRAY_S
    if abs(apart) <= 1e-9:
        return for_s * follows
    return (math.exp(-for_s / STRAY_S) - follows) / apart


def spread(covariance: list[float]) -> list[list[float]]:
    """Columns of one standard deviation each that together make a covariance (Cholesky)."""
    columns: list[list[float]] = []
    left = covariance[:]
    for k in range(SIZE):
        most = left[k * SIZE + k]
        if most <= 0.0:
            continue
        root = math.sqrt(most)
        column = [left[j * SIZE + k] / root for j in range(SIZE)]
        columns.append(column)
        for i in range(SIZE):
            for j in range(SIZE):
                left[i * SIZE + j] -= column[i] * column[j]
    return columns


def _rate(figures: list[float], fan: float) -> float:
    return max(figures[K], SLOWEST) + fan * max(figures[G], 0.0)


def _shifted(rule: FanRule) -> list[tuple[FanRule, FanRule]]:
    found = []
    on_c, off_c = rule.on_c, rule.off_c
    if on_c is not None:
        found.append((rule._replace(on_c=on_c + FAN_C), rule._replace(on_c=on_c - FAN_C)))
    if off_c is not None:
        found.append((rule._replace(off_c=off_c + FAN_C), rule._replace(off_c=off_c - FAN_C)))
    return found


def _wanders(rate: float, for_s: float) -> float:
    """Variance of T by what stirs from now on: d's own noise through both ways of fading.

    σ²·2λ/(λ−k)²·∫(e^(−kt) − e^(−λt))² dt, with λ = 1/STRAY_S.
    """
    fades = 1.0 / STRAY_S
    if abs(fades - rate) < 1e-6:
        rate = fades + 1e-6
    integral = (
        -math.expm1(-2.0 * rate * for_s) / (2.0 * rate)
        + 2.0 * math.expm1(-(rate + fades) * for_s) / (rate + fades)
        - math.expm1(-2.0 * fades * for_s) / (2.0 * fades)
    )
    return 2.0 * STRAY_C_PER_S**2 * fades / (fades - rate) ** 2 * integral
