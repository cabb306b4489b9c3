"""A line that wanders: what rises steadily, strays from its line by itself, and is read with noise.

A ring wears by its turns, and an arm turns more on one day than on another. So the values of days
are off the line not only by their noise, of which each has its own, but also by all that went
before: it strays further the longer it goes, and does not come back. A plain regression takes that
for noise, and is far too sure of where its line leads. This is Wiener's process with drift, read
with errors (Whitmore, Lifetime Data Analysis 1995; from memory): a Kalman filter over level and
slope, which begins with nothing known of either.

How much it wanders beside its noise the values tell poorly. What the likelihood takes for likeliest
would again be too sure (tried: 85 of 100 intervals of 90 % held, with all ratios 94). So each ratio
counts by its likelihood given the residuals (restricted, Harville, Journal of the American
Statistical Association 1977; from memory), all of them alike beforehand on a scale of logarithms,
as for any scale of which nothing is known (Jeffreys 1946, from memory).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

RATIOS: Final[tuple[float, ...]] = tuple([0.0] + [10.0 ** (k / 2 - 4.0) for k in range(13)])
"""Variance by which it wanders in a day, of that of a value's noise. Below the least a year makes a
fifth of the noise, which nobody can tell from none; above the last the noise is a tenth of what a
day strays, and the values are the line themselves."""
UNKNOWN: Final = 1e8
"""Variance of what is not known at first, of that of the noise."""


@dataclass(frozen=True, slots=True)
class WanderingLine:
    """Where the line is at the day of its last value, in the values' unit, and where it leads."""

    day: float
    level: float
    slope: float
    """A day."""
    level_variance: float
    both: float
    """Covariance of level and slope."""
    slope_variance: float
    wanders: float
    """Variance that each day to come adds."""


@dataclass(frozen=True, slots=True)
class _Filtered:
    """The same for one ratio; variances of that of the noise, which is `noise`."""

    likelihood: float
    """Its logarithm."""
    noise: float
    level: float
    slope: float
    p_level: float
    p_both: float
    p_slope: float


def wandering_line(days: Sequence[float], values: Sequence[float]) -> WanderingLine:
    """The line through values of days in order, at least three, and not all of one day."""
    found = [_filtered(days, values, ratio) for ratio in RATIOS]
    most = max(one.likelihood for one in found)
    weights = [math.exp(one.likelihood - most) for one in found]
    total = math.fsum(weights)
    shares = [weight / total for weight in weights]
    level = math.fsum(share * one.level for share, one in zip(shares, found, strict=True))
    slope = math.fsum(share * one.slope for share, one in zip(shares, found, strict=True))
    level_variance = both = slope_variance = wanders = 0.0
    for share, ratio, one in zip(shares, RATIOS, found, strict=True):
        off, steeper = one.level - level, one.slope - slope
        level_variance += share * (one.noise * one.p_level + off * off)
        both += share * (one.noise * one.p_both + off * steeper)
        slope_variance += share * (one.noise * one.p_slope + steeper * steeper)
        wanders += share * one.noise * ratio
    return WanderingLine(days[-1], level, slope, level_variance, both, slope_variance, wanders)


def _filtered(days: Sequence[float], values: Sequence[float], ratio: float) -> _Filtered:
    level, slope = values[0], 0.0
    p_level, p_both, p_slope = UNKNOWN, 0.0, UNKNOWN
    squares = widths = 0.0
    last_day = days[0]
    for k, (day, value) in enumerate(zip(days, values, strict=True)):
        passed, last_day = day - last_day, day
        level += slope * passed
        p_level += passed * (2.0 * p_both + passed * p_slope + ratio)
        p_both += passed * p_slope
        width = p_level + 1.0
        missed = value - level
        if k > 1:  # the first two make the line, and say nothing of how far values lie off it
            squares += missed * missed / width
            widths += math.log(width)
        of_level, of_slope = p_level / width, p_both / width
        level += of_level * missed
        slope += of_slope * missed
        p_slope -= of_slope * p_both
        p_both -= of_level * p_both
        p_level -= of_level * p_level
    free = len(values) - 2
    # Values that lie on a line to the last digit still have some noise: that of their rounding.
    noise = max(squares / free, 1e-18)
    likelihood = -0.5 * (free * math.log(noise) + widths)
    return _Filtered(likelihood, noise, level, slope, p_level, p_both, p_slope)
