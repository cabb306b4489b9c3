"""What a plan asks of each joint at most, and in which line, from the points that it gets."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from coordinator.config.arm import Arm
from coordinator.motion.plan import Part
from protocol.segments import peaks

SAME: Final = 1.001
"""Moves alike differ by what rounding to counts adds: far below 0.1 % of any limit."""


@dataclass(frozen=True, slots=True)
class Peak:
    """The largest figure of a plan and its limit, in °/s or °/s², and the line that asks for it."""

    value: float
    limit: float
    line: int
    """0 for a joint that does not move."""


@dataclass(frozen=True, slots=True)
class JointPeaks:
    """The peaks of one joint."""

    name: str
    velocity: Peak
    acceleration: Peak
    """Of the plan at full rate; starting and holding along the path may use the rest."""


class _Largest:
    """The largest of what is taken, and the first line that asks for it but for rounding."""

    def __init__(self) -> None:
        self.counts = 0.0
        self.line = 0
        self._at_line = 0.0

    def take(self, counts: float, line: int) -> None:
        self.counts = max(self.counts, counts)
        if counts > SAME * self._at_line:
            self._at_line, self.line = counts, line


def joint_peaks(parts: Iterable[Part], arm: Arm) -> tuple[JointPeaks, ...]:
    """The peaks of every joint, base to tool."""
    fastest = [_Largest() for _ in arm.joints]
    hardest = [_Largest() for _ in arm.joints]
    for part in parts:
        before = list(part.first_points())
        for move in part.moves():
            for k, points in enumerate(move.points):
                for point in points:
                    velocity, acceleration = peaks(before[k], point)
                    fastest[k].take(velocity, move.line)
                    hardest[k].take(acceleration, move.line)
                    before[k] = point
    found = []
    for joint, fast, hard in zip(arm.joints, fastest, hardest, strict=True):
        scale = abs(joint.counts_per_degree)
        speed = Peak(fast.counts / scale, joint.velocity_deg_s, fast.line)
        rise = Peak(hard.counts / scale, joint.acceleration_deg_s2, hard.line)
        found.append(JointPeaks(joint.name, speed, rise))
    return tuple(found)
