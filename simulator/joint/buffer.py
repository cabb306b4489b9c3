"""The points of the one trajectory that a joint has loaded: checked, kept, read, freed."""

import math
from bisect import bisect_right
from collections import deque
from typing import Final

from protocol.configuration import Configuration
from protocol.points import Point, PointsFrame
from protocol.segments import check_segment, hermite
from simulator.joint.refusal import Refusal

RANGE_ALLOWANCE: Final = 1.0
"""Counts by which a cubic between points inside the range may pass its end: their rounding."""


class PointBuffer:
    """A window of consecutive points. A frame is taken wholly or not at all."""

    def __init__(self, capacity: int) -> None:
        self.capacity = capacity
        self.clear()

    def clear(self) -> None:
        """Forget the trajectory."""
        self.trajectory = 0
        self.next_index = 0
        self.last: Point | None = None
        """The trajectory's last point, once it is here."""
        self.switches: deque[Point] = deque()
        """Points with outputs that have not been switched yet."""
        self._points: list[Point] = []
        self._times: list[int] = []

    @property
    def buffered_us(self) -> int:
        """Path time of the newest point, 0 without any."""
        return self._times[-1] if self._times else 0

    @property
    def first(self) -> Point | None:
        """The oldest point kept: the trajectory's first until the joint moves on."""
        return self._points[0] if self._points else None

    def take(self, frame: PointsFrame, limits: Configuration) -> Refusal | None:
        """Add a frame's points, or say why not and leave everything as it was."""
        if frame.trajectory == 0:
            return Refusal("message-invalid", "trajectory 0 stands for none")
        if self.trajectory not in (0, frame.trajectory):
            return Refusal(
                "trajectory-loaded",
                f"trajectory {self.trajectory} is loaded, discard it before {frame.trajectory}",
            )
        count, index = len(frame.points), frame.first_index
        if index + count <= self.next_index:
            return None
        if index != self.next_index:
            return Refusal("points-gap", f"points from {index}, expected {self.next_index}")
        if len(self._points) + count > self.capacity:
            return Refusal(
                "buffer-full",
                f"{count} points do not fit: {len(self._points)} of {self.capacity} are in use",
            )
        before = self._points[-1] if self._points else None
        for point in frame.points:
            refusal = _check(before, point, limits)
            if refusal:
                return refusal
            before = point
        self.trajectory = frame.trajectory
        self.next_index = index + count
        self._points += frame.points
        self._times += [point.time_us for point in frame.points]
        self.switches.extend(point for point in frame.points if point.output_mask)
        if frame.points[-1].last:
            self.last = frame.points[-1]
        return None

    def free(self, path_us: float) -> None:
        """Forget the points behind the segment that holds a path time."""
        done = min(bisect_right(self._times, path_us) - 1, len(self._times) - 1)
        if done > 0:
            del self._points[:done], self._times[:done]

    def points_from(self, path_us: float) -> list[Point]:
        """The points kept, from the last one not after a path time on."""
        return self._points[max(0, bisect_right(self._times, path_us) - 1) :]

    def at(self, path_us: float) -> tuple[float, float]:
        """Position (counts) and velocity (counts per second of path time) at a path time."""
        k = bisect_right(self._times, path_us) - 1
        if k < 0 or k >= len(self._times) - 1:
            point = self._points[max(k, 0)]
            return float(point.position), float(point.velocity)
        position, velocity, _ = hermite(self._points[k], self._points[k + 1], path_us)
        return position, velocity


def _check(before: Point | None, point: Point, limits: Configuration) -> Refusal | None:
    time = point.time_us
    if before is None:
        if time != 0 or point.velocity != 0:
            return Refusal(
                "first-point",
                f"the first point is at {time} µs with {point.velocity} counts/s, both must be 0",
            )
    elif before.last:
        return Refusal("after-last", f"a point at {time} µs follows the last at {before.time_us}")
    elif time <= before.time_us:
        return Refusal("point-order", f"a point at {time} µs follows one at {before.time_us}")
    if point.last and point.velocity != 0:
        return Refusal("last-moving", f"the last point moves by {point.velocity} counts/s, not 0")
    if point.output_mask and point.velocity != 0:
        return Refusal(
            "output-in-motion",
            f"outputs switch at {time} µs at {point.velocity} counts/s, they may only at rest",
        )
    if limits.range_low is not None and limits.range_high is not None:
        low, high = extremes(before, point)
        if low < limits.range_low - RANGE_ALLOWANCE or high > limits.range_high + RANGE_ALLOWANCE:
            return Refusal(
                "range",
                f"before {time} µs the path reaches {low:.0f} to {high:.0f} counts, "
                f"the range is {limits.range_low} to {limits.range_high}",
            )
    if before is not None:
        sentence = check_segment(before, point, limits.velocity, limits.acceleration)
        if sentence:
            return Refusal("segment", sentence)
    return None


def extremes(a: Point | None, b: Point) -> tuple[float, float]:
    """Lowest and highest position (counts) from one point to the next, ends included."""
    found = [float(b.position)]
    if a is not None:
        found.append(float(a.position))
        h = (b.time_us - a.time_us) / 1e6
        va, vb, rise = a.velocity * h, b.velocity * h, float(b.position - a.position)
        c2, c3 = 3 * rise - 2 * va - vb, va + vb - 2 * rise
        for u in turning_points(a, b):
            found.append(a.position + u * (va + u * (c2 + u * c3)))
    return min(found), max(found)


def turning_points(a: Point, b: Point) -> list[float]:
    """Where the cubic between two points turns round, as fractions of their time, in any order."""
    h = (b.time_us - a.time_us) / 1e6
    va, vb, rise = a.velocity * h, b.velocity * h, float(b.position - a.position)
    c2, c3 = 3 * rise - 2 * va - vb, va + vb - 2 * rise
    return [u for u in _roots(3 * c3, 2 * c2, va) if 0.0 < u < 1.0]


def _roots(a: float, b: float, c: float) -> list[float]:
    """Real roots of a·x² + b·x + c that keep their figures when a is small."""
    square = b * b - 4 * a * c
    if square < 0.0:
        return []
    q = -0.5 * (b + math.copysign(math.sqrt(square), b))
    return ([q / a] if a else []) + ([c / q] if q else [])
