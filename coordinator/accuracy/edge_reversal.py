"""How much play a joint has at most, by its home edges that a homing passes in both directions.

An edge is met later in either direction of travel by the joint's play, by the home sensor's own
hysteresis, and by what the joint turns until it notices. One sensor cannot tell these apart, so
what it gives is an upper bound of the play, and no figure of it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import fsum, sqrt
from typing import Final

from coordinator.accuracy.coverage import coverage
from coordinator.accuracy.no_figure import NoFigure

LEAST_HOMINGS: Final = 5
"""As many as ISO 230-2 has runs from each side (from memory)."""


@dataclass(frozen=True, slots=True)
class EdgeReversal:
    """Of homings of one controller with one set of figures. In degrees."""

    found: tuple[float, ...]
    """How much later each homing met its edges in either direction, mean of both edges."""
    late: float
    """How much of that at most is that edges are noticed late, at the speeds of homing."""
    resolution: float
    """One count, by which edges are told."""

    @property
    def count(self) -> int:
        """Homings."""
        return len(self.found)

    @property
    def mean(self) -> float:
        """Of what the homings found."""
        return fsum(self.found) / self.count

    @property
    def deviation(self) -> float:
        """Standard deviation of one homing."""
        mean = self.mean
        return sqrt(fsum((one - mean) ** 2 for one in self.found) / (self.count - 1))

    @property
    def uncertainty(self) -> float:
        """Standard uncertainty of the mean, from the scatter or, where that is more, from what a
        count leaves open (GUM, JCGM 100:2008, 4.2.3 and F.2.2.1).
        """
        return max(self.deviation / sqrt(self.count), self.resolution / sqrt(12.0))

    @property
    def factor(self) -> float:
        """So many standard uncertainties hold 95 of 100 values."""
        return coverage(self.count - 1)

    @property
    def left_open(self) -> float:
        """What scatter and counts leave open."""
        return self.factor * self.uncertainty

    @property
    def bound(self) -> float:
        """What the play is at most, as far as it showed."""
        return max(self.mean, 0.0) + self.left_open

    @property
    def is_seen(self) -> bool:
        """Whether there is more than what scatter and counts leave open."""
        return self.mean > self.left_open

    def grown_since(self, before: "EdgeReversal") -> float | None:
        """By how much the mean is another than that of homings before, where it surely is; None
        where it is not.
        """
        by = self.mean - before.mean
        factor = max(self.factor, before.factor)
        is_sure = abs(by) > factor * sqrt(self.uncertainty**2 + before.uncertainty**2)
        return by if is_sure else None


def edge_reversal(found: Sequence[float], late: float, resolution: float) -> EdgeReversal:
    """What homings say of a joint's play. Raises NoFigure."""
    if len(found) < LEAST_HOMINGS:
        raise NoFigure(
            f"{len(found) or 'no'} homing{'' if len(found) == 1 else 's'} met an edge both ways, "
            f"and it takes {LEAST_HOMINGS}"
        )
    made = EdgeReversal(tuple(found), late, resolution)
    if made.mean < -made.left_open:
        raise NoFigure(
            f"edges were met {-made.mean:.4g}° sooner in the direction of travel, in the mean of "
            f"{made.count} homings: neither play nor a sensor does that; steps are lost as it "
            "homes, or its sensor bounces"
        )
    return made
