"""The noise of a Hall sensor whose comparator has no hysteresis: it bounces at its edges.

Sensors that switch have a hysteresis against just that (TI SLIA086); a linear one with a comparator
behind it, or a reading compared in firmware, often has none.
"""

from statistics import NormalDist
from typing import Final

SAMPLE_US: Final = 50.0
"""Between two values of the noise that have nothing to do with one another: a sensor's bandwidth is
20 kHz (TI SBAS640, the linear DRV5055)."""
REACH: Final = 5.0
"""Standard deviations beyond which it never is: further out is one sample of two million."""
_NORMAL: Final = NormalDist()
_64: Final = (1 << 64) - 1


class HallNoise:
    """By how much an edge lies further out at each sample, in counts.

    Each sample's is drawn from the seed and its number alone, so that it does not matter who looks
    at which of them, how often, or in what order.
    """

    def __init__(self, counts: float, seed: int) -> None:
        self.reach = REACH * counts
        """Further from an edge than this the level is sure."""
        self._counts = counts
        self._seed = seed

    def at(self, sample: int) -> float:
        """Of a sample, counted from joint time 0."""
        # SplitMix64 (Steele, Lea and Flood 2014), from memory: any good mixing of bits would do.
        mixed = (self._seed + sample * 0x9E3779B97F4A7C15) & _64
        mixed = ((mixed ^ mixed >> 30) * 0xBF58476D1CE4E5B9) & _64
        mixed = ((mixed ^ mixed >> 27) * 0x94D049BB133111EB) & _64
        share = ((mixed ^ mixed >> 31) + 0.5) / 2.0**64
        return max(-REACH, min(REACH, _NORMAL.inv_cdf(share))) * self._counts
