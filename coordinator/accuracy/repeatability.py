"""How near to each other a joint or the arm comes to stand that is sent to one pose again and again
(pose accuracy and pose repeatability, ISO 9283).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import dist, fsum, sqrt
from typing import Final

LEAST_READINGS: Final = 10
"""A tenth of the figure's worth is its own uncertainty at 30 readings, a fifth at ten."""
STANDARD_READINGS: Final = 30
"""What ISO 9283 asks for (from memory)."""


@dataclass(frozen=True, slots=True)
class Repeatability:
    """Figures in the unit of the readings."""

    count: int
    """Readings."""
    bias: float
    """From the commanded pose to the middle of those that were reached (AP)."""
    mean_distance: float
    """Of a reading from that middle."""
    deviation: float
    """Standard deviation of these distances (S)."""
    middle: tuple[float, ...]
    """Of the readings, in each of their directions."""
    resolution: float = 0.0
    """What the last digit of the readings tells apart."""

    @property
    def repeatability(self) -> float:
        """RP: the mean distance and three standard deviations."""
        return self.mean_distance + 3.0 * self.deviation

    @property
    def uncertainty(self) -> float:
        """Standard uncertainty of `repeatability`, from the number of readings alone or, where that
        is more, from what their last digit leaves open.

        A mean of n values is uncertain by S/√n, their standard deviation by S/√(2(n − 1))
        (GUM, JCGM 100:2008, E.4.3), a reading by 0.29 of its resolution (F.2.2.1).
        """
        by_count = self.deviation * sqrt(1.0 / self.count + 9.0 / (2.0 * (self.count - 1)))
        return max(by_count, self.resolution / sqrt(12.0))


def repeatability(
    deviations: Sequence[tuple[float, ...]], resolution: float = 0.0
) -> Repeatability:
    """What readings say, each the deviation from the commanded pose in one to three directions.
    `resolution` is what their last digit tells apart.

    Raises ValueError for fewer than two.
    """
    count = len(deviations)
    if count < 2:
        raise ValueError(f"{count} readings, a deviation needs 2")
    middle = tuple(fsum(ways) / count for ways in zip(*deviations, strict=True))
    distances = [dist(one, middle) for one in deviations]
    mean = fsum(distances) / count
    deviation = sqrt(fsum((one - mean) ** 2 for one in distances) / (count - 1))
    bias = dist(middle, (0.0,) * len(middle))
    return Repeatability(count, bias, mean, deviation, middle, resolution)
