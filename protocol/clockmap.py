"""Clock maps, and a joint's arm clock that slews from one map to the next (design section 2.3).

A map says: joint time = joint_us + (arm time − arm_us)·(1 + rate). At rest a new map applies at
once. From accepting a start until it rests again a joint keeps the difference to the old map as a
remainder and bleeds it off by 200 ppm of joint time, so that nothing jumps.
"""

import math
from dataclasses import dataclass

from protocol.constants import PPM, SLEW_PPM


@dataclass(frozen=True, slots=True)
class ClockMap:
    """One straight line between arm time and joint time, both in µs."""

    number: int
    arm_us: int
    joint_us: int
    rate_ppb: int
    """How much faster joint time runs than arm time, in parts per thousand million."""

    def to_joint(self, arm_us: float) -> float:
        """Joint time, in µs, at an arm time."""
        return self.joint_us + (arm_us - self.arm_us) * (1.0 + self.rate_ppb * 1e-9)

    def to_arm(self, joint_us: float) -> float:
        """Arm time, in µs, at a joint time."""
        return self.arm_us + (joint_us - self.joint_us) / (1.0 + self.rate_ppb * 1e-9)


class ArmClock:
    """A joint's own reading of arm time: the newest map plus what is left of the older ones."""

    def __init__(self, clock_map: ClockMap) -> None:
        self.map = clock_map
        self._remainder_us = 0.0
        self._since_us = -math.inf

    def remainder_us(self, joint_us: float) -> float:
        """What is still to be bled off at a joint time: arm clock minus map, in µs."""
        left = abs(self._remainder_us) - (joint_us - self._since_us) * SLEW_PPM / PPM
        if left <= 0.0:
            return 0.0
        return left if self._remainder_us > 0.0 else -left

    def arm(self, joint_us: float) -> float:
        """Arm time in µs at a joint time, not earlier than the newest map's acceptance."""
        return self.map.to_arm(joint_us) + self.remainder_us(joint_us)

    def joint(self, arm_us: float) -> float:
        """Joint time in µs at which this clock will read `arm_us`: the inverse of `arm`."""
        plain = self.map.to_joint(arm_us)
        if self._remainder_us == 0.0:
            return plain
        # While the remainder lasts, arm time runs at 1/(1 + rate) ∓ slew per joint second.
        run = 1.0 / (1.0 + self.map.rate_ppb * 1e-9)
        slew = SLEW_PPM / PPM * (1.0 if self._remainder_us > 0.0 else -1.0)
        start_arm_us = self.map.to_arm(self._since_us) + self._remainder_us
        slewing = self._since_us + (arm_us - start_arm_us) / (run - slew)
        end_us = self._since_us + abs(self._remainder_us) * PPM / SLEW_PPM
        return slewing if slewing < end_us else plain

    def settle(self) -> None:
        """Drop what is left of older maps: nothing moves, and nothing is about to."""
        self._remainder_us = 0.0

    def accept(self, clock_map: ClockMap, joint_us: float, *, jump: bool) -> None:
        """Take a newer map at a joint time; `jump` at rest, otherwise keep a remainder."""
        remainder_us = 0.0 if jump else self.arm(joint_us) - clock_map.to_arm(joint_us)
        self.map = clock_map
        self._remainder_us = remainder_us
        self._since_us = joint_us
