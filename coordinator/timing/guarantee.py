"""Between which two values a joint's clock offset surely lies, now and in the last minute.

What is believed:

1. Each exchange limits the offset once from above, at T1, and once from below, at T4 (Marzullo
   1984; `Exchange`). Nothing is assumed of the network but that no time is negative.
2. Between two instants the offset changes by no more than the drift bound times the arm time
   between them, forwards and backwards. So a limit, seen from another instant, is a cone that
   widens with the distance.
3. The intersection of all cones is the guarantee. No estimate ever tightens it. It is empty only
   if 1 or 2 is false: the joint rebooted, a clock was stepped, or a crystal is out of tolerance.

A limit that lies within another's cone adds nothing at any instant, so it is dropped. Of what is
left, only the nearest limit on either side of an instant matters there. Arithmetic is in whole
numbers and rounds outwards.
"""

from bisect import bisect_left
from dataclasses import dataclass
from typing import Final

from coordinator.timing.exchange import Exchange
from protocol.constants import PPM

DRIFT_PPM: Final = 100
"""Both crystals, warm and cold (design section 2.1)."""
HISTORY_US: Final = 120_000_000
"""How far back limits are kept, to date what a joint reports and to measure its rate."""
Limit = tuple[int, int]
"""An instant in arm time and the limit on the offset at that instant, both in µs."""


@dataclass(frozen=True, slots=True)
class Interval:
    """The offset (joint time − arm time, in µs) lies between these two, ends included."""

    low_us: int
    high_us: int

    @property
    def middle_us(self) -> float:
        """The value that is wrong by the least, at worst."""
        return (self.low_us + self.high_us) / 2

    @property
    def half_width_us(self) -> float:
        """How wrong the middle can be."""
        return (self.high_us - self.low_us) / 2

    def clamp(self, offset_us: float) -> float:
        """The value nearest to this one that lies inside."""
        return min(max(offset_us, self.low_us), self.high_us)


@dataclass(frozen=True, slots=True)
class Contradiction:
    """Two limits that no clock within the drift bound can keep: the intersection is empty."""

    gap_us: int
    """By how much the lower limit exceeds the upper one, after widening."""
    apart_us: int
    """Arm time between the instants of the two limits."""


class _Limits:
    """Upper limits (sign 1) or lower ones (sign −1), none within the cone of another.

    `value` is sign × offset, so that smaller is tighter for both. Arm and joint times both grow
    along the lists, because the drift bound is less than 1.
    """

    __slots__ = ("arm_us", "drift_ppm", "joint_us", "sign", "values")

    def __init__(self, sign: int, drift_ppm: int) -> None:
        self.sign = sign
        self.drift_ppm = drift_ppm
        self.arm_us: list[int] = []
        self.joint_us: list[int] = []
        self.values: list[int] = []
        """Sign × offset of each limit, in µs × 10⁶."""

    def value(self, arm_us: int) -> tuple[int, int]:
        """The tightest value at an instant, in µs × 10⁶, and the instant of the limit behind it."""
        arms = self.arm_us
        if not arms:
            raise LookupError("no exchange, no limit")
        newest_us = arms[-1]
        if arm_us > newest_us:
            return self._aged(-1, arm_us - newest_us), newest_us
        k = bisect_left(arms, arm_us)
        if k == 0:
            return self._aged(0, arms[0] - arm_us), arms[0]
        before = self._aged(k - 1, arm_us - arms[k - 1])
        after = self._aged(k, arms[k] - arm_us)
        return (after, arms[k]) if after < before else (before, arms[k - 1])

    def _aged(self, k: int, age_us: int) -> int:
        return self.values[k] + self.drift_ppm * age_us

    def add(self, arm_us: int, joint_us: int) -> None:
        """Take a limit in, unless it adds nothing, and drop those to which it leaves nothing."""
        arms = self.arm_us
        value = self.sign * (joint_us - arm_us) * PPM
        if arms and self.value(arm_us)[0] <= value:
            return
        start = end = bisect_left(arms, arm_us)
        while start > 0 and self._within(start - 1, arm_us, value):
            start -= 1
        while end < len(arms) and self._within(end, arm_us, value):
            end += 1
        arms[start:end] = [arm_us]
        self.joint_us[start:end] = [joint_us]
        self.values[start:end] = [value]

    def _within(self, k: int, arm_us: int, value: int) -> bool:
        """Whether limit k lies within the cone of this one."""
        return self.values[k] >= value + self.drift_ppm * abs(self.arm_us[k] - arm_us)

    def forget_before(self, arm_us: int) -> None:
        """Drop old limits, but keep one at or before this instant: it still tells about it."""
        k = bisect_left(self.arm_us, arm_us)
        if k > 1:
            del self.arm_us[: k - 1], self.joint_us[: k - 1], self.values[: k - 1]

    def offsets(self) -> list[Limit]:
        """All that is left, by time."""
        return [
            (arm_us, joint_us - arm_us)
            for arm_us, joint_us in zip(self.arm_us, self.joint_us, strict=True)
        ]

    def arm_limit(self, joint_us: int) -> int:
        """The instant that the limits allow for a joint time: earliest if upper, else latest."""
        joints, k = self.joint_us, bisect_left(self.joint_us, joint_us)
        # Upper limits: forwards the joint's clock runs at 1 + drift at most, backwards at
        # 1 − drift at least. Lower limits: the other way round. Rounded away from the truth.
        found = []
        if k < len(joints):
            found.append(self._arm(k, joint_us, PPM - self.sign * self.drift_ppm))
        if k > 0:
            found.append(self._arm(k - 1, joint_us, PPM + self.sign * self.drift_ppm))
        return self.sign * max(found)

    def _arm(self, k: int, joint_us: int, run_ppm: int) -> int:
        """Sign × the instant, rounded down, by limit k with the joint's clock at this run."""
        elapsed = (joint_us - self.joint_us[k]) * PPM
        return self.sign * self.arm_us[k] + self.sign * elapsed // run_ppm


class Guarantee:
    """The intersection of all limits on one joint's offset, widened by the drift bound.

    `drift_ppm` bounds how fast joint time and arm time may part, in µs per second.
    """

    def __init__(self, drift_ppm: int = DRIFT_PPM) -> None:
        self.drift_ppm = drift_ppm
        self.flush()

    def flush(self) -> None:
        """Forget every limit: the clock that they spoke of is gone."""
        self._upper = _Limits(1, self.drift_ppm)
        self._lower = _Limits(-1, self.drift_ppm)
        self.exchanges = 0
        """Exchanges since the last flush, all in agreement."""

    @property
    def span_us(self) -> int:
        """Arm time that both the upper and the lower limits that matter span."""
        if not self.exchanges:
            return 0
        upper, lower = self._upper.arm_us, self._lower.arm_us
        return min(upper[-1] - upper[0], lower[-1] - lower[0])

    @property
    def upper_limits(self) -> list[Limit]:
        """The upper limits that matter somewhere in the window, by time."""
        return self._upper.offsets()

    @property
    def lower_limits(self) -> list[Limit]:
        """The lower limits that matter somewhere in the window, by time."""
        return self._lower.offsets()

    def observe(self, exchange: Exchange) -> Contradiction | None:
        """Add an exchange, in any order. On a contradiction nothing is left, not even this one."""
        found = self._contradiction(exchange)
        if found is not None:
            self.flush()
            return found
        self._upper.add(exchange.t1_us, exchange.t2_us)
        self._lower.add(exchange.t4_us, exchange.t3_us)
        self.exchanges += 1
        self._upper.forget_before(exchange.t4_us - HISTORY_US)
        self._lower.forget_before(exchange.t4_us - HISTORY_US)
        return None

    def _contradiction(self, exchange: Exchange) -> Contradiction | None:
        """What this exchange alone, or with the limits so far, cannot keep."""
        t1_us, t4_us = exchange.t1_us, exchange.t4_us
        upper, lower = exchange.upper_us * PPM, exchange.lower_us * PPM
        room, apart_us = upper - lower + self.drift_ppm * (t4_us - t1_us), t4_us - t1_us
        if self.exchanges:
            value, at_us = self._lower.value(t1_us)
            if upper + value < room:
                room, apart_us = upper + value, abs(t1_us - at_us)
            value, at_us = self._upper.value(t4_us)
            if value - lower < room:
                room, apart_us = value - lower, abs(t4_us - at_us)
        return None if room >= 0 else Contradiction(-(room // PPM), apart_us)

    def interval(self, arm_us: int) -> Interval | None:
        """The guarantee at an instant, past or future; none before the first exchange."""
        if not self.exchanges:
            return None
        low, _ = self._lower.value(arm_us)
        high, _ = self._upper.value(arm_us)
        return Interval(-low // PPM, -(-high // PPM))

    def arm_interval(self, joint_us: int) -> tuple[int, int] | None:
        """The earliest and latest arm time, in µs, at which the joint's clock showed this."""
        if not self.exchanges:
            return None
        return self._upper.arm_limit(joint_us), self._lower.arm_limit(joint_us)
