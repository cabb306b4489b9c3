"""The ramp: one short table by which the whole arm's rate along its path rises and falls.

Slowing down on a path costs acceleration: at rate s the path itself uses s²·|q″| and the ramp
|ṡ|·|q′|. Moves are planned with |q″| ≤ 0.8·a and |q′| ≤ v, so the rate may change by
|ṡ| ≤ (a/v)·(1 − 0.8·s²) (design section 5.4). The table holds rows (time from rest in µs, rate in
ppm), both growing; between rows the rate is linear in time. It is read forwards to speed up and
backwards to slow down.
"""

import math
from bisect import bisect_right
from collections.abc import Sequence
from itertools import pairwise
from typing import Final

from protocol.constants import ACCELERATION_SHARE, PPM, US

ROWS: Final = 33
"""Rows of the table: 32 pieces cost 3 % of time against the smooth curve."""

Row = tuple[int, int]


class Ramp:
    """A table of (time from rest in µs, rate in ppm) with its integral.

    Raises ValueError when the rows do not begin at (0, 0), end at full rate and grow.
    """

    def __init__(self, rows: Sequence[Row]) -> None:
        if len(rows) < 2 or tuple(rows[0]) != (0, 0) or rows[-1][1] != PPM:
            raise ValueError("a ramp begins at time 0 with rate 0 and ends at rate 1000000 ppm")
        for (time_a, rate_a), (time_b, rate_b) in pairwise(rows):
            if time_b <= time_a or rate_b <= rate_a:
                raise ValueError(f"ramp row ({time_b}, {rate_b}) does not grow")
        self.rows: tuple[Row, ...] = tuple((int(time), int(rate)) for time, rate in rows)
        self._times = [float(time) for time, _ in self.rows]
        self._rates = [rate / PPM for _, rate in self.rows]
        self._paths = [0.0]
        for k in range(1, len(self.rows)):
            mean = 0.5 * (self._rates[k] + self._rates[k - 1])
            self._paths.append(self._paths[-1] + mean * (self._times[k] - self._times[k - 1]))
        self.duration_us = self._times[-1]
        """Time from rest to full rate, in µs."""
        self.path_us = self._paths[-1]
        """Path time covered from rest to full rate, in µs."""

    @classmethod
    def for_ratio(cls, v_over_a_s: float) -> "Ramp":
        """The table for the largest v/a among an arm's joints, in seconds.

        Each piece rises as slowly as its faster end demands, so every row keeps the limit.
        """
        rows: list[Row] = [(0, 0)]
        for k in range(1, ROWS):
            left = (1.0 - ACCELERATION_SHARE) ** (k / (ROWS - 1))
            rate = math.sqrt((1.0 - left) / ACCELERATION_SHARE)
            ppm = PPM if k == ROWS - 1 else int(rate * PPM)
            rise = (ppm - rows[-1][1]) / PPM
            left_here = 1.0 - ACCELERATION_SHARE * (ppm / PPM) ** 2
            rows.append((rows[-1][0] + math.ceil(rise * v_over_a_s / left_here * US), ppm))
        return cls(rows)

    def rate(self, time_us: float) -> float:
        """Rate, 0 to 1, at a time from rest in µs."""
        if time_us <= 0.0:
            return 0.0
        if time_us >= self.duration_us:
            return 1.0
        k = bisect_right(self._times, time_us) - 1
        part = (time_us - self._times[k]) / (self._times[k + 1] - self._times[k])
        return self._rates[k] + part * (self._rates[k + 1] - self._rates[k])

    def time(self, rate: float) -> float:
        """Time from rest, in µs, at which a rate between 0 and 1 is reached."""
        if rate <= 0.0:
            return 0.0
        if rate >= 1.0:
            return self.duration_us
        k = bisect_right(self._rates, rate) - 1
        part = (rate - self._rates[k]) / (self._rates[k + 1] - self._rates[k])
        return self._times[k] + part * (self._times[k + 1] - self._times[k])

    def path(self, time_us: float) -> float:
        """Path time covered from rest, in µs, at a time from rest within the table."""
        if time_us <= 0.0:
            return 0.0
        if time_us >= self.duration_us:
            return self.path_us
        k = bisect_right(self._times, time_us) - 1
        step = time_us - self._times[k]
        width = self._times[k + 1] - self._times[k]
        slope = (self._rates[k + 1] - self._rates[k]) / width
        return self._paths[k] + step * (self._rates[k] + 0.5 * slope * step)

    def time_of_path(self, path_us: float) -> float:
        """Time from rest, in µs, at which a path from rest within the table is covered."""
        if path_us < 1e-30:  # far below any rounding; squares of less would vanish below
            return 0.0
        if path_us >= self.path_us:
            return self.duration_us
        k = bisect_right(self._paths, path_us) - 1
        width = self._times[k + 1] - self._times[k]
        slope = (self._rates[k + 1] - self._rates[k]) / width
        need = path_us - self._paths[k]
        # The root of ½·slope·t² + rate·t = need that keeps its figures when slope·need is small.
        rate = self._rates[k]
        return self._times[k] + 2.0 * need / (rate + math.sqrt(rate * rate + 2.0 * slope * need))

    def fall_path(self, rate: float) -> float:
        """Path time, in µs, that slowing down from a rate to rest covers."""
        return self.path(self.time(rate))

    def excess(self, velocity: float, acceleration: float) -> str | None:
        """A sentence when a row asks more of a joint than its limits allow, otherwise None.

        `velocity` and `acceleration` are the joint's limits in any one unit of length.
        """
        for (time_a, rate_a), (time_b, rate_b) in pairwise(self.rows):
            slope = (rate_b - rate_a) / PPM / ((time_b - time_a) / US)
            used = ACCELERATION_SHARE * (rate_b / PPM) ** 2 * acceleration + slope * velocity
            if used > acceleration * (1.0 + 1e-9):
                return (
                    f"the ramp at {time_b} µs needs {used:.6g}, "
                    f"more than the acceleration limit {acceleration:.6g}"
                )
        return None
