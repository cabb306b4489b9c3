"""A slip ring that wears: the trend of its hop's resistance over days, and when it is too much.

A line that wanders (`wandering_line.py`) goes through one value a day. When it reaches what the arm
can bear is a quotient of two uncertain figures, so its 90 % interval is Fieller's (Journal of the
Royal Statistical Society B 1954, from memory), and not the same to both sides. The two dividers at
a hop are off by the same share every day, which no number of days averages out: that is added once,
at the limit (GUM, JCGM 100:2008 §5.2, effects that inputs share; from memory). What joints are
taken to draw is the same every day too, but scales values and limit alike as far as both come from
here; it is not in the interval.
"""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median
from typing import Final

from coordinator.health.hop_estimate import DIVIDER_UNCERTAINTY, coverage_factor
from coordinator.health.load_flow import load_flow
from coordinator.health.wandering_line import wandering_line

LEAST_DAYS: Final = 8
"""With a value each: below, the line's own scatter is hardly known."""
MOST_OHM: Final = 100.0
"""No hop of a bench arm bears more: 60 V over it are 9 W at most."""
HALVINGS: Final = 50


@dataclass(frozen=True, slots=True)
class DayValue:
    """A hop's resistance as it was fitted on one day."""

    day: float
    """Of any count of days that goes on: the middle of the time that it is of."""
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


def lasting_ohm(index: int, hop_ohm: Sequence[float], limit_ohm: float) -> float:
    """By how much all fits of a hop are off alike once it has its limit: a standard uncertainty.

    A fit is the difference of what two dividers see fall by each ampere, which is all that lies
    before them. Before the first hop none measures.
    """
    before_ohm = math.fsum(hop_ohm[:index])
    return DIVIDER_UNCERTAINTY * math.hypot(before_ohm, before_ohm + limit_ohm)


def day_values(means: Sequence[tuple[int, float]]) -> list[DayValue]:
    """Values by the number of the day on which they were told, oldest first.

    A fit is told once the last of its stands is in, and is of all since the fit before. So a value
    is of half the usual time between two earlier than the middle of its day.
    """
    numbers = [number for number, _ in means]
    gaps = [after - before for before, after in itertools.pairwise(numbers)]
    earlier = 0.5 * median(gaps) if gaps else 0.0
    return [DayValue(number + 0.5 - earlier, ohm) for number, ohm in means]


def wear(values: Sequence[DayValue], limit_ohm: float, lasting: float = 0.0) -> Wear:
    """The trend of a hop's daily values, oldest first, and when it passes what the arm can bear.

    `lasting` is the standard uncertainty in ohm that all values share.
    """
    count = len(values)
    if count < LEAST_DAYS:
        return _none(f"{count} days have a value so far, {LEAST_DAYS} are needed")
    if values[-1].day <= values[0].day:
        return _none("all values are of one day")
    line = wandering_line([value.day for value in values], [value.ohm for value in values])
    slope, uncertainty = line.slope, math.sqrt(line.slope_variance)
    factor = coverage_factor(count - 2)
    if slope <= factor * uncertainty:
        return _none(
            f"no rise is told apart from scatter: {1e3 * slope:.2f} ± {1e3 * uncertainty:.2f} mΩ "
            "a day",
            uncertainty,
        )
    to_go_ohm = limit_ohm - line.level
    sure = factor * factor

    def ends(way: int) -> tuple[float, float]:
        """Days from the last value on, to come (`way` 1) or that were (−1); it wanders both ways.

        (to_go − slope·d)² = sure·(level + lasting² + (2·both + way·wanders)·d + steep·d²)
        """
        a = slope * slope - sure * line.slope_variance
        b = slope * to_go_ohm + sure * (line.both + 0.5 * way * line.wanders)
        c = to_go_ohm * to_go_ohm - sure * (line.level_variance + lasting * lasting)
        root = math.sqrt(max(b * b - a * c, 0.0))
        return (b - root) / a, (b + root) / a

    earliest, latest = ends(1)
    if earliest < 0.0:
        earliest = ends(-1)[0]
    if latest < 0.0:
        latest = ends(-1)[1]
    return Wear(
        ohm_per_day=slope,
        uncertainty_ohm_per_day=uncertainty,
        passes_day=line.day + to_go_ohm / slope,
        earliest_day=line.day + earliest,
        latest_day=line.day + latest,
        reason="",
    )


def _none(reason: str, uncertainty: float | None = None) -> Wear:
    return Wear(None, uncertainty, None, None, None, reason)
