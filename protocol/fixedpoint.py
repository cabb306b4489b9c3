"""The law of path time and the arm clock in whole numbers, for a controller without doubles.

README.md has the same in formulas. Every number fits a signed 64-bit integer, whatever a joint may
be sent. Times and path times are in 1/256 µs, rates in ppm; `//` rounds down. The software joint
goes by doubles; tests hold both together.
"""

from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from protocol.clockmap import ClockMap
from protocol.constants import PPM, SLEW_PPM
from protocol.pathtime import RateChange
from protocol.ramp import Row

ONE_US: Final = 256
FAR: Final = 2**40 * ONE_US
"""Twelve days: a path time that far ahead is as good as never reached."""


def run(time: int, ppm: int) -> int:
    """Path time covered in a time at a steady rate."""
    seconds, rest = divmod(time, ONE_US * PPM)
    return seconds * ONE_US * ppm + rest * ppm // PPM


def unrun(path: int, ppm: int) -> int:
    """The time that a path time takes at a steady rate above 0."""
    whole, rest = divmod(path, ppm)
    return whole * PPM + rest * PPM // ppm


class WholeRamp:
    """The ramp's table and the path time covered from rest to each of its rows."""

    def __init__(self, rows: list[Row]) -> None:
        self.rows = rows
        self.paths = [0]
        doubled = 0  # in ppm·µs
        for (time_a, rate_a), (time_b, rate_b) in pairwise(rows):
            doubled += (rate_a + rate_b) * (time_b - time_a)
            self.paths.append(doubled * ONE_US // (2 * PPM))

    def time(self, ppm: int) -> int:
        """Time from rest at which a rate is reached."""
        (time, rate), (after, faster) = self._piece([rate for _, rate in self.rows], ppm)[1:]
        return ONE_US * time + (ppm - rate) * ONE_US * (after - time) // (faster - rate)

    def path(self, time: int) -> int:
        """Path time covered from rest at a time from rest."""
        k, (begin, rate), (end, faster) = self._piece([ONE_US * at for at, _ in self.rows], time)
        inside = time - ONE_US * begin
        gained = inside * (faster - rate) // (end - begin)  # in 1/256 ppm
        return self.paths[k] + inside * (2 * ONE_US * rate + gained) // (2 * ONE_US * PPM)

    def time_of_path(self, path: int) -> int:
        """The latest time from rest at which no more than a path time is covered."""
        _, (begin, _), (end, _) = self._piece(self.paths, path)
        low, high = ONE_US * begin, ONE_US * end
        while low < high:
            middle = (low + high + 1) // 2
            if self.path(middle) <= path:
                low = middle
            else:
                high = middle - 1
        return low

    def _piece(self, column: list[int], value: int) -> tuple[int, Row, Row]:
        """The piece that a value lies in, and its number; the last one for the last row."""
        k = max(k for k in range(len(column) - 1) if column[k] <= value)
        return k, self.rows[k], self.rows[k + 1]


@dataclass(frozen=True, slots=True)
class WholeCourse:
    """From an arm time and a path time on: the rate before, along the ramp, the rate after."""

    at: int
    path: int
    before_ppm: int
    after_ppm: int
    begin: int
    """The ramp's time at which the change begins, and at which it ends."""
    end: int
    ramp: WholeRamp

    @classmethod
    def of(cls, change: RateChange, ramp: WholeRamp) -> "WholeCourse":
        """The course that a rate change from the wire lays down."""
        before, after = change.before_ppm, change.after_ppm
        at, path = ONE_US * change.at_us, ONE_US * change.path_us
        return cls(at, path, before, after, ramp.time(before), ramp.time(after), ramp)

    @property
    def settled(self) -> int:
        """Arm time from which the rate is the one after."""
        return self.at + abs(self.end - self.begin)

    @property
    def settled_path(self) -> int:
        """Path time at that instant."""
        return self.path + abs(self.ramp.path(self.end) - self.ramp.path(self.begin))

    def on_ramp(self, arm: int) -> int:
        """The ramp's time at an arm time."""
        elapsed = min(max(arm - self.at, 0), abs(self.end - self.begin))
        return self.begin + (elapsed if self.end > self.begin else -elapsed)

    def path_at(self, arm: int) -> int:
        """Path time at an arm time."""
        if arm <= self.at:
            return self.path + run(arm - self.at, self.before_ppm)
        if arm >= self.settled:
            return self.settled_path + run(arm - self.settled, self.after_ppm)
        return self.path + abs(self.ramp.path(self.on_ramp(arm)) - self.ramp.path(self.begin))

    def when(self, path: int) -> int | None:
        """Arm time at which a path time is reached; None where it never is."""
        ahead = path - self.path
        if abs(ahead) > FAR:
            return None
        if ahead <= 0:
            if self.before_ppm > 0:
                return self.at - unrun(-ahead, self.before_ppm)
            return self.at if ahead == 0 else None
        if path > self.settled_path:
            if self.after_ppm == 0:
                return None
            return self.settled + unrun(path - self.settled_path, self.after_ppm)
        start = self.ramp.path(self.begin)
        if self.end > self.begin:
            return self.at + self.ramp.time_of_path(start + ahead) - self.begin
        return self.at + self.begin - self.ramp.time_of_path(start - ahead)

    def fall(self, arm: int, path: int | None = None) -> "WholeCourse":
        """The course that leaves this one at an arm time and ramps to rest.

        It has no rate before: nobody asks for what was before a fall.
        """
        here = self.path_at(arm) if path is None else path
        return WholeCourse(arm, here, 0, 0, self.on_ramp(arm), 0, self.ramp)


def _share(number: int, part: int, of: int) -> int:
    """number·part/of without a product that grows with the number."""
    whole, rest = divmod(number, of)
    return whole * part + rest * part // of


class WholeClock:
    """A joint's arm clock: the newest map and what is left of the older ones."""

    def __init__(self, clock_map: ClockMap) -> None:
        self.map = clock_map
        self.remainder_then = 0
        self.since = 0

    def map_to_joint(self, arm: int) -> int:
        """Joint time at an arm time by the map alone."""
        away = arm - ONE_US * self.map.arm_us
        return ONE_US * self.map.joint_us + away + _share(away, self.map.rate_ppb, 10**9)

    def map_to_arm(self, joint: int) -> int:
        """Arm time at a joint time by the map alone."""
        away, ppb = joint - ONE_US * self.map.joint_us, self.map.rate_ppb
        return ONE_US * self.map.arm_us + away - _share(away, ppb, 10**9 + ppb)

    def remainder(self, joint: int) -> int:
        """What is left to be slewed off."""
        gone = (joint - self.since) // (PPM // SLEW_PPM)
        left = max(abs(self.remainder_then) - gone, 0)
        return left if self.remainder_then > 0 else -left

    def arm(self, joint: int) -> int:
        """Arm time at a joint time."""
        return self.map_to_arm(joint) + self.remainder(joint)

    def joint(self, arm: int) -> int:
        """Joint time at which this clock will read an arm time.

        Each turn leaves a two-thousandth of the error: the slew and the map's rate.
        """
        joint = self.map_to_joint(arm)
        for _ in range(4):
            joint += arm - self.arm(joint)
        return joint

    def accept(self, clock_map: ClockMap, joint: int, *, jump: bool) -> None:
        """Take a newer map at a joint time."""
        shown = self.arm(joint)
        self.map, self.since = clock_map, joint
        self.remainder_then = 0 if jump else shown - self.map_to_arm(joint)
