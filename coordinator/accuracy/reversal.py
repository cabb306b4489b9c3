"""How far apart a joint comes to stand that goes to one angle from below and from above (reversal
value, ISO 230-2).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import fsum, sqrt
from typing import Final

from coordinator.accuracy.coverage import coverage

LEAST_RUNS: Final = 5
"""To each target from each side, as ISO 230-2 has it (from memory)."""


@dataclass(frozen=True, slots=True)
class Side:
    """Readings at one target that was reached from one side."""

    count: int
    mean: float
    deviation: float
    """Standard deviation of one reading."""


@dataclass(frozen=True, slots=True)
class Target:
    """One angle, reached from both sides. Figures in the unit of the readings."""

    at: float
    """In degrees."""
    below: Side
    above: Side
    resolution: float = 0.0
    """What the last digit of its readings tells apart."""

    @property
    def reversal(self) -> float:
        """The mean from below less the mean from above (B of this target)."""
        return self.below.mean - self.above.mean

    @property
    def uncertainty(self) -> float:
        """Standard uncertainty of `reversal`, from the readings' scatter or, where that is more,
        from what their last digit leaves open (GUM, JCGM 100:2008, 4.2.3 and F.2.2.1).
        """
        least = self.resolution**2 / 12.0
        sides = self.below, self.above
        return sqrt(sum(max(one.deviation**2 / one.count, least) for one in sides))

    @property
    def left_open(self) -> float:
        """What its readings do not tell apart from no play, with a confidence of 95 %."""
        return coverage(min(self.below.count, self.above.count) - 1) * self.uncertainty

    @property
    def repeatability(self) -> float:
        """Bidirectional, with two standard deviations either way (R of this target)."""
        sides = self.below.deviation, self.above.deviation
        return max(2.0 * sum(sides) + abs(self.reversal), *(4.0 * one for one in sides))


@dataclass(frozen=True, slots=True)
class Reversal:
    """All targets, in their order of angle."""

    targets: tuple[Target, ...]

    @property
    def largest(self) -> Target:
        """The target with the largest reversal value, which is that of the joint (B)."""
        return max(self.targets, key=lambda target: abs(target.reversal))

    @property
    def is_seen(self) -> bool:
        """Whether its reversal value is more than scatter and last digit leave open."""
        return abs(self.largest.reversal) > self.largest.left_open

    @property
    def bound(self) -> float:
        """What the reversal value is at most, as far as the readings tell."""
        return max(abs(target.reversal) + target.left_open for target in self.targets)

    @property
    def resolution(self) -> float:
        """What the last digit of the readings tells apart."""
        return max(target.resolution for target in self.targets)

    @property
    def span_deg(self) -> float:
        """How far the targets lie apart."""
        return self.targets[-1].at - self.targets[0].at

    @property
    def is_implausible(self) -> bool:
        """Whether the reversal value is larger than all targets lie apart: a joint with so much
        play would not have turned between them.
        """
        return len(self.targets) > 1 and abs(self.largest.reversal) > self.span_deg

    @property
    def mean(self) -> float:
        """Mean reversal value over the targets."""
        return fsum(target.reversal for target in self.targets) / len(self.targets)

    @property
    def repeatability(self) -> float:
        """The largest of the targets (R)."""
        return max(target.repeatability for target in self.targets)

    @property
    def systematic(self) -> float:
        """From the lowest to the highest mean, of either side (E)."""
        means = [side.mean for target in self.targets for side in (target.below, target.above)]
        return max(means) - min(means)

    @property
    def accuracy(self) -> float:
        """The same with two standard deviations more either way (A)."""
        sides = [side for target in self.targets for side in (target.below, target.above)]
        return max(one.mean + 2.0 * one.deviation for one in sides) - min(
            one.mean - 2.0 * one.deviation for one in sides
        )


def side(readings: Sequence[float]) -> Side:
    """What readings from one side say. Raises ValueError for fewer than two."""
    count = len(readings)
    if count < 2:
        raise ValueError(f"{count} readings, a deviation needs 2")
    mean = fsum(readings) / count
    return Side(count, mean, sqrt(fsum((one - mean) ** 2 for one in readings) / (count - 1)))
