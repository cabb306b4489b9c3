"""The likeliest offset and rate of a joint's clock, with an error that is itself an estimate.

Belief: a joint's crystal changes its rate slowly, by no more than `RATE_CHANGE_PPM_S`. So at an
instant it has an offset and a rate, and at an age before that its offset was on the straight line
through them, but for half that change times the age squared. Each limit, widened by that, is a
limit on the line: old ones count the less the older they are, and how far back it is worth looking
follows from how tight the limits are.

The lines between all limits fill a polygon of offsets and rates. For each rate the best offset is
the middle between the limits that touch first from above and from below; the distance between
those, the height, is a concave function of the rate, straight between the corners of the two convex
hulls (compare Moon, Skelly & Towsley 1999, who fit the line to one side by a linear programme). The
estimate is the mean of these middles, each rate weighted by a power of its height: where there is
room, limits would have to be missing that are as tight as those that are there.

A limit that the guarantee dropped lies within another's cone of 100 ppm, so no line that is less
steep by the change of rate within the window touches it: those that are left give the same
solution as all.

The belief may be wrong. So the error stated here, how far any such clock within the limits can be
from the estimate, is not a guarantee, and the estimate is clamped into the guarantee wherever it is
used.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from coordinator.timing.guarantee import Limit
from protocol.constants import PPM, US

RATE_CHANGE_PPM_S: Final = 0.05
"""3 ppm a minute: a crystal of 1 ppm/K on a board that warms by 3 K a minute (assumed)."""
HEIGHT_POWER: Final = 20
"""How sharply the estimate prefers rates with room. Tried: from 10 to 40 it makes little difference
on any simulated link; the widest strip alone (no end of powers) errs by a quarter more."""
HEIGHT_LEAST: Final = 0.75
"""Share of the greatest height from which rates are counted: 0.75²⁰ is 0.3 %."""
RATES: Final = 7
"""So many, evenly spread over those that are counted."""

Point = tuple[float, float]

_CURVE: Final = RATE_CHANGE_PPM_S / PPM / US / 2
"""Half the change of rate, in µs per µs²."""


@dataclass(frozen=True, slots=True)
class Line:
    """An offset that changes at a steady rate, a pure number (joint − arm, per arm)."""

    arm_us: int
    offset_us: float
    rate: float

    def at(self, arm_us: int) -> float:
        """The offset in µs at an instant."""
        return self.offset_us + (arm_us - self.arm_us) * self.rate


@dataclass(frozen=True, slots=True)
class Fit:
    """What the limits say of a clock whose rate changes slowly. Lines touch it at the instant of
    the fit, and are good from then on.
    """

    best: Line
    """The likeliest of the lines between the limits."""
    confirm_us: float
    """Half the greatest height. Below 0 no such clock keeps the limits."""
    slowest: Line
    """Of all lines between the limits the one with the least rate and offset, and ..."""
    fastest: Line
    """... the one with the greatest."""

    @property
    def steady(self) -> bool:
        """Whether there is any line between the limits at all."""
        return self.confirm_us >= 0.0

    def error_us(self, arm_us: int, offset_us: float) -> float:
        """How far such a clock can be from this offset, at an instant after the fit."""
        low_us, high_us = self.slowest.at(arm_us), self.fastest.at(arm_us)
        return max(high_us - offset_us, offset_us - low_us) + _bent(arm_us - self.best.arm_us)


def fit(upper: Sequence[Limit], lower: Sequence[Limit], rate_limit: float, arm_us: int) -> Fit:
    """What limits sorted by time, at least one on each side and none later, say of an instant.

    No rate beyond ±`rate_limit` is considered.
    """
    offset_us = upper[-1][1]
    strip = _Strip(
        _hull([_widened(at - arm_us, limit - offset_us, 1.0) for at, limit in upper], 1.0),
        _hull([_widened(at - arm_us, limit - offset_us, -1.0) for at, limit in lower], -1.0),
    )
    rate = slowest = fastest = strip.widest(rate_limit)
    low, high, _ = strip.edges(rate)
    offset = (low + high) / 2
    margin = (high - low) / 2
    if margin >= 0.0:
        slowest, fastest = strip.last_open(-rate_limit, 0.0), strip.last_open(rate_limit, 0.0)
        offset, rate = strip.mean(high - low, slowest, fastest)
    return Fit(
        best=Line(arm_us, offset_us + offset, rate),
        confirm_us=margin,
        slowest=Line(arm_us, offset_us + strip.edges(slowest)[0], slowest),
        fastest=Line(arm_us, offset_us + strip.edges(fastest)[1], fastest),
    )


def _bent(age_us: float) -> float:
    """How far from a straight line the clock can be after so long."""
    return _CURVE * age_us * age_us


def _widened(at: float, value: float, sign: float) -> Point:
    return at, value + sign * _bent(at)


@dataclass(frozen=True, slots=True)
class _Strip:
    """The corners that upper and lower limits turn to each other, by time from the fit on."""

    upper: list[Point]
    lower: list[Point]

    def edges(self, rate: float) -> tuple[float, float, float]:
        """Lowest and highest offset at time 0 for lines of this rate, and the time from the
        limit that sets the highest to the one that sets the lowest: how the height between
        them grows with the rate.
        """
        high, high_at, low, low_at = math.inf, math.inf, -math.inf, -math.inf
        for at, value in self.upper:
            offset = value - rate * at
            if offset < high or (offset == high and at < high_at):
                high, high_at = offset, at
        for at, value in self.lower:
            offset = value - rate * at
            if offset > low or (offset == low and at > low_at):
                low, low_at = offset, at
        return low, high, low_at - high_at

    def mean(self, greatest: float, slowest: float, fastest: float) -> Point:
        """The mean offset and rate of all lines, each rate weighted by a power of its height."""
        least = HEIGHT_LEAST * greatest
        first = self.last_open(slowest, least)
        step = (self.last_open(fastest, least) - first) / RATES
        if not (greatest > 0.0 and step > 0.0):
            low, high, _ = self.edges(first)
            return (low + high) / 2, first
        weights = offsets = rates = 0.0
        for k in range(RATES):
            rate = first + (k + 0.5) * step
            low, high, _ = self.edges(rate)
            weight = ((high - low) / greatest) ** HEIGHT_POWER
            weights += weight
            offsets += weight * (low + high) / 2
            rates += weight * rate
        return offsets / weights, rates / weights

    def widest(self, rate_limit: float) -> float:
        """The rate with the greatest height, found between tangents to that concave function."""
        left, right = -rate_limit, rate_limit
        left_height, left_slope = self._height(left)
        right_height, right_slope = self._height(right)
        if left_slope <= 0.0:
            return left
        if right_slope >= 0.0:
            return right
        while True:
            rise = right_height - left_height - right_slope * (right - left)
            rate = left + rise / (left_slope - right_slope)
            height, slope = self._height(rate)
            # Where the two tangents cross there is a third that is less steep, or the top.
            if slope == 0.0 or not right_slope < slope < left_slope:
                return rate
            if slope > 0.0:
                left, left_height, left_slope = rate, height, slope
            else:
                right, right_height, right_slope = rate, height, slope

    def last_open(self, rate: float, least: float) -> float:
        """The rate nearest to this one with at least this height, if there is any.

        Newton's steps from outside never pass that point of a concave function, and each meets a
        tangent that is less steep.
        """
        height, slope = self._height(rate)
        while height < least and slope != 0.0:
            rate -= (height - least) / slope
            height, flatter = self._height(rate)
            if not 0.0 < flatter / slope < 1.0:
                break
            slope = flatter
        return rate

    def _height(self, rate: float) -> tuple[float, float]:
        low, high, slope = self.edges(rate)
        return high - low, slope


def _hull(points: Sequence[Point], sign: float) -> list[Point]:
    """The lower convex hull of points sorted by time, the upper one for sign −1 (Andrew 1979)."""
    corners: list[Point] = []
    for at, value in points:
        while len(corners) > 1:
            (at_a, value_a), (at_b, value_b) = corners[-2], corners[-1]
            turn = (at_b - at_a) * (value - value_a) - (value_b - value_a) * (at - at_a)
            if sign * turn > 0.0:
                break
            corners.pop()
        corners.append((at, value))
    return corners
