"""How near to each other a joint or the arm comes to stand that is sent to one pose again and again
(pose accuracy and pose repeatability, ISO 9283).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import dist, fsum, sqrt
from typing import Final

LEAST_READINGS: Final = 10
"""A seventh of the figure's worth is its own uncertainty at 30 readings, a quarter at ten."""
STANDARD_READINGS: Final = 30
"""What ISO 9283 asks for (from memory)."""
_OF_DISTANCES: Final = {1: (0.9953, 3.8692), 2: (0.6311, 3.2451), 3: (0.4857, 3.1082)}
"""Skewness and kurtosis of distances in one to three directions in each of which readings scatter
normally: half-normal, Rayleigh and Maxwell distribution (from memory; the tests have them from
scipy)."""


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
    """Standard deviation of these distances, or of an angle itself with its sign (S)."""
    middle: tuple[float, ...]
    """Of the readings, in each of their directions."""
    resolution: float = 0.0
    """What the last digit of the readings tells apart."""
    is_angle: bool = False
    """Whether it is of an orientation, not of a position."""

    @property
    def repeatability(self) -> float:
        """RP: of a position the mean distance and three standard deviations, of an angle three
        standard deviations to either side (ISO 9283, from memory).
        """
        return 3.0 * self.deviation + (0.0 if self.is_angle else self.mean_distance)

    @property
    def uncertainty(self) -> float:
        """Standard uncertainty of `repeatability`, from the number of readings alone or, where that
        is more, from what their last digit leaves open.

        A mean of n values is uncertain by S/√n, their standard deviation by S/√(2(n − 1)) where
        they are normal (GUM, JCGM 100:2008, E.4.3), a reading by 0.29 of its resolution (F.2.2.1).
        Distances are not: by their third and fourth moments their standard deviation is uncertain
        by more, and goes with their mean (delta method, from memory).
        """
        if self.is_angle:
            by_count = 3.0 * self.deviation / sqrt(2.0 * (self.count - 1))
        else:
            skewness, kurtosis = _OF_DISTANCES[len(self.middle)]
            of_s = 9.0 * (kurtosis - 1.0) / 4.0 + 3.0 * skewness
            by_count = self.deviation * sqrt(1.0 / self.count + of_s / (self.count - 1))
        return max(by_count, self.resolution / sqrt(12.0))


def repeatability(
    deviations: Sequence[tuple[float, ...]], resolution: float = 0.0, *, is_angle: bool = False
) -> Repeatability:
    """What readings say, each the deviation from the commanded pose in one to three directions, or
    of an angle. `resolution` is what their last digit tells apart.

    Raises ValueError for fewer than two.
    """
    count = len(deviations)
    if count < 2:
        raise ValueError(f"{count} readings, a deviation needs 2")
    middle = tuple(fsum(ways) / count for ways in zip(*deviations, strict=True))
    distances = [dist(one, middle) for one in deviations]
    mean = fsum(distances) / count
    about = 0.0 if is_angle else mean  # an angle's distances from its middle have lost their sign
    deviation = sqrt(fsum((one - about) ** 2 for one in distances) / (count - 1))
    bias = dist(middle, (0.0,) * len(middle))
    return Repeatability(count, bias, mean, deviation, middle, resolution, is_angle)
