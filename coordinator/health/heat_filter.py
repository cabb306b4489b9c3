"""Learns how a joint warms, from what it says while it runs: recursive least squares.

The joint is taken for one body of one temperature. With T above 25 °C, its load u (heat of the
winding as a share of that at run current) and the share f of the fan,

    dT/dt = a + h·u − k·T + f·(b − g·T) + d

a is what air and electronics do, h what the winding does, k how fast it follows; b and g are what
the fan adds. d is all that one body leaves out, such as a print that warms later than its motor: a
disturbance that fades, and that a change of the load stirs anew. T is measured so well that it can
stand on the right as it was read; so all this is linear in what is sought, and a Kalman filter over
T, d and the five figures finds them with their covariance, in a fixed memory.

What is known beforehand is only what printed joints with small steppers can be: see `PRIOR`.
"""

import math
from typing import Final

REFERENCE_C: Final = 25.0
"""Above which temperatures are counted here."""
SIZE: Final = 7
T: Final = 0
D: Final = 1
A: Final = 2
H: Final = 3
K: Final = 4
B: Final = 5
G: Final = 6
PRIOR: Final[list[tuple[float, float]]] = [
    # mean, one standard deviation
    (0.0, 50.0),
    (0.0, 0.0),
    (0.003, 0.008),
    (0.015, 0.012),
    (1 / 1500, 1 / 2000),
    (0.0, 0.010),
    (1 / 800, 1 / 800),
]
"""In °C and s. 1 to 8 W in some 200 J/K at run current, time constants of ten minutes to two hours,
air of 10 to 40 °C, electronics of up to 2 W, a fan that makes heat go two to four times as fast."""
STRAY_C_PER_S: Final = 0.0008
"""One standard deviation of d by itself."""
STRAY_S: Final = 240.0
"""In which d fades to 1/e."""
UNSEEN: Final = 5.0
"""By so much more may d be where a change of load just before was not seen: at the beginning, as
after a gap. It is what half of the run current's heat would stir."""
STIRRED: Final = 0.5
"""Of the warming that a change of load brings: one standard deviation of d after it."""
READ_C: Final = 0.06
"""One standard deviation of a mean over some twenty readings, with what rounding leaves."""
DRIFT_C_PER_S: Final = 0.0007
"""By which a wanders in an hour, one standard deviation: air that changes by about a degree."""


class HeatFilter:
    """What is known: `mean` and `covariance` (rows one after the other) of the seven figures."""

    def __init__(self) -> None:
        self.mean: list[float] = [mean for mean, _ in PRIOR]
        self.covariance: list[float] = [0.0] * (SIZE * SIZE)
        for k, (_, deviation) in enumerate(PRIOR):
            self.covariance[k * SIZE + k] = deviation * deviation
        self.covariance[D * SIZE + D] = (UNSEEN * STRAY_C_PER_S) ** 2

    def step(self, for_s: float, load: float, fan: float, above_c: float, changed: float) -> None:
        """Time goes on: means of load, fan and T since the last step, and how the load changed."""
        fades = math.exp(-for_s / STRAY_S)
        row = [
            1.0, STRAY_S * (1.0 - fades), for_s, for_s * load, -for_s * above_c, for_s * fan,
            -for_s * fan * above_c,
        ]  # fmt: skip
        mean, covariance = self.mean, self.covariance
        mean[T] = _dot(row, mean)
        mean[D] *= fades
        # F·P·Fᵀ, where F differs from the unit matrix in two rows only.
        first = [0.0] * SIZE
        for k, factor in enumerate(row):
            at = k * SIZE
            for j in range(SIZE):
                first[j] += factor * covariance[at + j]
        corner = _dot(row, first)
        first[D] *= fades
        for j in range(SIZE):
            covariance[T * SIZE + j] = covariance[j * SIZE + T] = first[j]
            if j > D:
                covariance[D * SIZE + j] = covariance[j * SIZE + D] = (
                    covariance[D * SIZE + j] * fades
                )
        covariance[T * SIZE + T] = corner
        covariance[D * SIZE + D] = (
            covariance[D * SIZE + D] * fades * fades
            + STRAY_C_PER_S**2 * (1.0 - fades * fades)
            + (STIRRED * changed * max(mean[H], 0.0)) ** 2
        )
        covariance[A * SIZE + A] += DRIFT_C_PER_S**2 * for_s / 3600.0

    def read(self, above_c: float) -> None:
        """T was measured."""
        mean, covariance = self.mean, self.covariance
        gain = covariance[:SIZE]
        total = gain[T] + READ_C**2
        missed = above_c - mean[T]
        for k in range(SIZE):
            part = gain[k] / total
            mean[k] += part * missed
            for j in range(SIZE):
                covariance[k * SIZE + j] -= part * gain[j]

    def interrupt(self) -> None:
        """For a while nothing was known of load and temperature; what was learnt stays."""
        covariance = self.covariance
        for k in (T, D):
            for j in range(SIZE):
                covariance[k * SIZE + j] = covariance[j * SIZE + k] = 0.0
        covariance[T * SIZE + T] = PRIOR[T][1] ** 2
        covariance[D * SIZE + D] = (UNSEEN * STRAY_C_PER_S) ** 2
        self.mean[D] = 0.0


def _dot(one: list[float], other: list[float]) -> float:
    return sum([a * b for a, b in zip(one, other, strict=True)])
