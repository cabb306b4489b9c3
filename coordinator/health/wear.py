"""A slip ring that wears: the trend of its hop's resistance over days, and when it is too much.

A straight line by least squares over one value a day. When it reaches what the arm can bear is a
quotient of two uncertain figures, so its 90 % interval is Fieller's (Journal of the Royal
Statistical Society B 1954, from memory): exact where values scatter normally about the line, and
not the same to both sides. What is the same every day, as what joints are taken to draw, scales
values and limit alike as far as both come from here; nothing else of it is in the interval.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from coordinator.health.hop_estimate import coverage_factor
from coordinator.health.load_flow import load_flow

LEAST_DAYS: Final = 8
"""With a value each: below, the line's own scatter is hardly known."""
MOST_OHM: Final = 100.0
"""No hop of a bench arm bears more: 60 V over it are 9 W at most."""
HALVINGS: Final = 50


@dataclass(frozen=True, slots=True)
class DayValue:
    """A hop's resistance as it was fitted on one day."""

    day: float
    """Of any count of days that goes on."""
    ohm: float


@dataclass(frozen=True, slots=True)
class Wear:
    """The trend of one hop. Days are of the values' own count."""

    ohm_per_day: float | None
    """None where there is no trend to speak of: `reason` says why."""
    uncertainty_ohm_per_day: float | None
    """Standard; also known where the trend is not told apart from none."""
    passes_day: float | None
    """When the line passes the limit; None without a trend."""
    earliest_day: float | None
    latest_day: float | None
    """It passes between these with 90 % confidence, if it goes on as it did."""
    reason: str
    """A clause; empty where there is a forecast."""


def most_hop_ohm(
    index: int,
    source_v: float,
    hop_ohm: Sequence[float],
    watts: Sequence[float],
    limits_v: Sequence[float],
) -> float | None:
    """The most that one hop may have so that no joint falls below its limit.

    None where another hop or the source leaves too little even if this hop has none. Loads in W and
    limits in V, base to tool, are as in `load_flow`.
    """

    def is_enough(ohm: float) -> bool:
        volts = load_flow(source_v, [*hop_ohm[:index], ohm, *hop_ohm[index + 1 :]], watts)
        return volts is not None and all(
            v >= limit_v for v, limit_v in zip(volts, limits_v, strict=True)
        )

    if not is_enough(0.0):
        return None
    low, high = 0.0, MOST_OHM
    if is_enough(high):
        return high
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if is_enough(middle) else (low, middle)
    return low


def wear(values: Sequence[DayValue], limit_ohm: float) -> Wear:
    """The trend of a hop's daily values, and when it passes what the arm can bear."""
    count = len(values)
    if count < LEAST_DAYS:
        return _none(f"{count} days have a value so far, {LEAST_DAYS} are needed")
    mean_day = math.fsum(value.day for value in values) / count
    mean_ohm = math.fsum(value.ohm for value in values) / count
    off = [value.day - mean_day for value in values]
    square = math.fsum(days * days for days in off)
    if square <= 0.0:
        return _none("all values are of one day")
    slope = math.fsum(days * value.ohm for days, value in zip(off, values, strict=True)) / square
    left = [value.ohm - mean_ohm - slope * days for days, value in zip(off, values, strict=True)]
    variance = math.fsum(ohm * ohm for ohm in left) / (count - 2)
    uncertainty = math.sqrt(variance / square)
    factor = coverage_factor(count - 2)
    if slope <= factor * uncertainty:
        return _none(
            f"no rise is told apart from scatter: {1e3 * slope:.2f} ± {1e3 * uncertainty:.2f} mΩ "
            "a day",
            uncertainty,
        )
    to_go_ohm = limit_ohm - mean_ohm
    # (to_go − slope·d)² = (factor·scatter)²·(1/n + d²/square), solved for d, days from the mean.
    scatter = factor * factor * variance
    a = slope * slope - scatter / square
    b = slope * to_go_ohm
    c = to_go_ohm * to_go_ohm - scatter / count
    root = math.sqrt(max(b * b - a * c, 0.0))
    return Wear(
        ohm_per_day=slope,
        uncertainty_ohm_per_day=uncertainty,
        passes_day=mean_day + to_go_ohm / slope,
        earliest_day=mean_day + (b - root) / a,
        latest_day=mean_day + (b + root) / a,
        reason="",
    )


def _none(reason: str, uncertainty: float | None = None) -> Wear:
    return Wear(None, uncertainty, None, None, None, reason)
