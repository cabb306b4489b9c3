"""The likeliest offset and rate of a joint's clock, with an error that is itself an estimate.

Belief: over the window a joint's clock runs at one steady rate. Then its offset is a straight line
that lies below every upper limit and above every lower one. The line kept furthest from both, the
widest strip, is the estimate. It is a two-sided linear programme: maximise m over offset, rate, m
with offset + rate·t + m ≤ upper and offset + rate·t − m ≥ lower (compare Moon, Skelly & Towsley
1999, who fit the line to one side). For a given rate the best offset and m are plain, so what is
left is a concave function of the rate alone, straight between the corners of the two convex hulls.

A limit that the guarantee dropped lies within another's cone, so no line within the drift bound
touches it: the limits that are left give the same solution as all.

The belief is wrong by what temperature does to a crystal within the window. So the error stated
here, how far any steady clock within the limits can be from the estimate, is not a guarantee, and
the estimate is clamped into the guarantee wherever it is used.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from coordinator.timing.guarantee import Limit

Point = tuple[float, float]


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
    """What the limits say of a clock with a steady rate."""

    best: Line
    """In the middle of the widest strip between the limits."""
    margin_us: float
    """Half the height of that strip. Below 0 no steady clock keeps the limits."""
    slowest: Line
    """Of all lines between the limits the one with the least rate, and ..."""
    fastest: Line
    """... the one with the greatest: from the newest limit on, no line is outside these two."""

    @property
    def steady(self) -> bool:
        """Whether there is any line between the limits at all."""
        return self.margin_us >= 0.0

    def error_us(self, arm_us: int, offset_us: float) -> float:
        """How far a steady clock can be from this offset, at an instant after the newest limit."""
        return max(self.fastest.at(arm_us) - offset_us, offset_us - self.slowest.at(arm_us))


def fit(upper: Sequence[Limit], lower: Sequence[Limit], rate_limit: float) -> Fit:
    """Solve the linear programme for limits sorted by time, at least one on each side.

    No rate beyond ±`rate_limit` is considered.
    """
    arm_us, offset_us = upper[-1]
    strip = _Strip(
        _hull([(float(at - arm_us), float(limit - offset_us)) for at, limit in upper], 1.0),
        _hull([(float(at - arm_us), float(limit - offset_us)) for at, limit in lower], -1.0),
    )
    rate = strip.widest(rate_limit)
    low, high, _ = strip.edges(rate)
    slowest = fastest = rate
    if high >= low:
        slowest, fastest = strip.last_open(-rate_limit), strip.last_open(rate_limit)
    return Fit(
        best=Line(arm_us, offset_us + (low + high) / 2, rate),
        margin_us=(high - low) / 2,
        slowest=Line(arm_us, offset_us + strip.edges(slowest)[0], slowest),
        fastest=Line(arm_us, offset_us + strip.edges(fastest)[1], fastest),
    )


@dataclass(frozen=True, slots=True)
class _Strip:
    """The corners that upper and lower limits turn to each other."""

    upper: list[Point]
    lower: list[Point]

    def edges(self, rate: float) -> tuple[float, float, float]:
        """Lowest and highest offset at time 0 for lines of this rate, and the time from the
        limit that sets the highest to the one that sets the lowest: how the height between
        them grows with the rate.
        """
        high, high_at = min((value - rate * at, at) for at, value in self.upper)
        low, low_at = max((value - rate * at, at) for at, value in self.lower)
        return low, high, low_at - high_at

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

    def last_open(self, rate: float) -> float:
        """The rate nearest to this one with a line between the limits, if there is any.

        Newton's steps from outside never pass the zero of a concave function, and each meets a
        tangent that is less steep.
        """
        height, slope = self._height(rate)
        while height < 0.0 and slope != 0.0:
            rate -= height / slope
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
