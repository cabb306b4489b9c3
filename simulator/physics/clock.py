"""A joint's crystal: from the world's true time to the joint's own, and back.

True time is what the coordinator's raw monotonic clock shows, so the rate error here is that of
both crystals together. It has a fixed part, the skew, and a slow wander as the crystal warms and
cools: three sines of periods that share no short multiple, with seeded phases. Their integral is
known in closed form, so any instant costs the same, however far away.
"""

import bisect
import math
from random import Random
from typing import Final

PPM: Final = 1e-6

MAX_RATE_PPM: Final = 100.0
"""Both crystals, warm and cold (design section 2.1)."""

# Minutes, as a joint's heat goes; the share of each in the wander. At 10 ppm the rate then changes
# by at most 0.08 ppm a second. Invented: nobody publishes the wander of a warming joint.
_WANDER: Final = ((300e6, 0.2), (1_020e6, 0.3), (3_600e6, 0.5))


class JointOscillator:
    """The free-running counter of one boot of a joint.

    At `start_us` of true time the counter shows `start_us + offset_us`; for one that counts from
    its boot, `offset_us` is −`start_us`. It runs at 1 + skew + wander, the wander staying within
    ±`wander_ppm`. Raises `ValueError` if both together could exceed 100 ppm.
    """

    def __init__(
        self,
        offset_us: float,
        skew_ppm: float,
        wander_seed: int,
        *,
        wander_ppm: float = 10.0,
        start_us: float = 0.0,
    ) -> None:
        if abs(skew_ppm) + abs(wander_ppm) > MAX_RATE_PPM:
            raise ValueError(
                f"A skew of {skew_ppm} ppm with a wander of {wander_ppm} ppm exceeds the "
                f"{MAX_RATE_PPM:.0f} ppm within which crystals run."
            )
        self._start_us = start_us
        self._origin_us = start_us + offset_us
        self._rate = 1.0 + skew_ppm * PPM
        random = Random(wander_seed)
        self._waves: list[tuple[float, float, float, float]] = []
        """Reach in µs, angular frequency per µs, phase and its cosine."""
        for period_us, share in _WANDER:
            omega, phase = math.tau / period_us, random.uniform(0.0, math.tau)
            self._waves.append((wander_ppm * share * PPM / omega, omega, phase, math.cos(phase)))
        self._steps: list[tuple[float, float]] = []

    def joint_us(self, true_us: float) -> float:
        """Joint time, in µs, at an instant of true time."""
        elapsed_us = true_us - self._start_us
        stepped_us = 0.0
        if self._steps:
            stepped_us = sum(by_us for at_us, by_us in self._steps if at_us <= true_us)
        return self._origin_us + elapsed_us * self._rate + self._wander_us(elapsed_us) + stepped_us

    def true_us(self, joint_us: float) -> float:
        """The instant of true time, in µs, at which the counter shows `joint_us`.

        Of a time that a step skipped it is the instant of the step; of a time shown twice, the
        later instant.
        """
        later_us = math.inf
        total_us = sum(by_us for _, by_us in self._steps)
        for at_us, by_us in reversed(self._steps):
            true_us = self._unstepped_true_us(joint_us - total_us)
            if true_us >= at_us:
                return min(true_us, later_us)
            later_us = at_us
            total_us -= by_us
        return min(self._unstepped_true_us(joint_us), later_us)

    def step(self, at_true_us: float, by_us: float) -> None:
        """Script a fault: from an instant of true time on the counter shows `by_us` more."""
        bisect.insort(self._steps, (at_true_us, by_us))

    def _unstepped_true_us(self, joint_us: float) -> float:
        """Invert the counter as if it had never been stepped.

        Each round shrinks the error by the wander, a factor of 10⁻⁴ at most; it begins below a
        tenth of a second, so three leave nothing that a float can hold.
        """
        counted_us = joint_us - self._origin_us
        elapsed_us = counted_us / self._rate
        for _ in range(3):
            elapsed_us = (counted_us - self._wander_us(elapsed_us)) / self._rate
        return self._start_us + elapsed_us

    def _wander_us(self, elapsed_us: float) -> float:
        """Integrate the wander from the start."""
        cos = math.cos
        total_us = 0.0
        for reach_us, omega, phase, cos_phase in self._waves:
            total_us += reach_us * (cos_phase - cos(omega * elapsed_us + phase))
        return total_us
