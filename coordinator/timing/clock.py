"""All that is known of one joint's clock: the guarantee, the estimate, and whether to trust them.

The guarantee rests on two beliefs (`guarantee`). When exchanges contradict them, all that was
known is forgotten and the clock is *unlocked* until fresh exchanges, sent after that, agree with
each other. A clock that keeps contradicting itself is not trusted between times either.
"""

import math
from collections import deque
from typing import Final

from coordinator.timing.estimate import Fit, fit
from coordinator.timing.exchange import Exchange
from coordinator.timing.guarantee import DRIFT_PPM, Contradiction, Guarantee, Interval
from protocol.clockmap import ClockMap
from protocol.constants import PPM, US

AGREEING_EXCHANGES: Final = 8
"""Exchanges that must agree before a clock is locked: a third of a second at 25 Hz."""
CONTRADICTIONS_LIMIT: Final = 3
"""That many within the time below are no single accident: the crystal is out of tolerance."""
CONTRADICTIONS_WITHIN_US: Final = 300 * US
"""On a busy link a crystal that is 100 ppm beyond the bound takes 20 s to be found out."""
RATE_SPAN_US: Final = 5 * US
"""Span of the limits that matter, below which the rate counts as unmeasured. On the worst link
that takes 15 to 30 s, before which a fit was off by up to 150 ppm, worse than a rate of 0."""
FIT_INTERVAL_US: Final = 2 * US
"""A fit takes 0.2 ms (5 ms where no limit is ever tighter than another, as with constant delays),
so it is not made at each exchange."""


class ClockUnlockedError(Exception):
    """A map was asked for of a clock that is not trusted; the text is the reason."""


class JointClock:
    """One joint's clock as seen from arm time. All times are µs, `now_us` is arm time.

    `drift_ppm` bounds how fast joint time and arm time may part.
    """

    def __init__(self, drift_ppm: int = DRIFT_PPM) -> None:
        self._guarantee = Guarantee(drift_ppm)
        self._fit: Fit | None = None
        self._fit_due_us: int | None = None
        self._heard_us: int | None = None
        self._fresh_from_us: int | None = None
        self._contradictions: deque[int] = deque(maxlen=CONTRADICTIONS_LIMIT)
        self._cause = ""
        self.locked = False
        """Whether the guarantee may be relied on."""
        self.agreed_joint_us: int | None = None
        """Joint time of the newest exchange that contradicted nothing; none after one that did."""

    def observe(self, exchange: Exchange, now_us: int) -> bool:
        """Take in an exchange; `now_us` is not before its T4. False where it contradicts others."""
        self._heard_us = now_us
        if self._fresh_from_us is not None and exchange.t1_us < self._fresh_from_us:
            return True  # sent before the contradiction was found: it may speak of the clock before
        contradiction = self._guarantee.observe(exchange)
        if contradiction is not None:
            self._contradicted(contradiction, now_us)
            return False
        self.agreed_joint_us = max(self.agreed_joint_us or 0, exchange.t3_us)
        out_of_tolerance = self.out_of_tolerance(now_us)
        self.locked = self._guarantee.exchanges >= AGREEING_EXCHANGES and not out_of_tolerance
        if self._fit_due_us is None or now_us >= self._fit_due_us:
            self._refit(now_us)
        return True

    def reset(self, reason: str) -> None:
        """Forget the clock, for a cause known otherwise, such as a reboot: a clause, no full stop.

        Contradictions before do not count any more: it is another clock.
        """
        self._forget()
        self._contradictions.clear()
        self._heard_us = None
        self._cause = reason

    @property
    def reason(self) -> str:
        """Why the clock is unlocked, as a sentence; empty while it is locked."""
        if self.locked:
            return ""
        agreeing = self._guarantee.exchanges
        progress = (
            f"{agreeing} of {AGREEING_EXCHANGES} exchanges agree"
            if agreeing < AGREEING_EXCHANGES
            else "its exchanges agree at present"
        )
        return f"the clock is not trusted: {self._cause or 'it is new'}; {progress}"

    @property
    def rate(self) -> float:
        """How much faster joint time runs than arm time, a pure number; 0 until measured."""
        return 0.0 if self._fit is None else self._fit.best.rate

    @property
    def rate_measured(self) -> bool:
        """Whether the limits span enough time to tell the rate."""
        return self._fit is not None

    def age_us(self, now_us: int) -> int | None:
        """Time since the last exchange; none before the first."""
        return None if self._heard_us is None else now_us - self._heard_us

    def out_of_tolerance(self, now_us: int) -> bool:
        """Whether it contradicted itself so often that no accident explains it."""
        times = self._contradictions
        return len(times) == CONTRADICTIONS_LIMIT and now_us - times[0] <= CONTRADICTIONS_WITHIN_US

    def guarantee(self, now_us: int) -> Interval | None:
        """Between which values the offset lies, at any instant; none while unlocked."""
        return self._guarantee.interval(now_us) if self.locked else None

    def arm_interval(self, joint_us: int) -> tuple[int, int] | None:
        """Between which arm times the joint's clock showed this; none while unlocked."""
        return self._guarantee.arm_interval(joint_us) if self.locked else None

    def offset_us(self, now_us: int) -> float | None:
        """The estimated offset, inside the guarantee; none while unlocked."""
        interval = self.guarantee(now_us)
        return None if interval is None else self._estimate_us(interval, now_us)

    def estimate_error_us(self, now_us: int) -> float:
        """How far the clock can be from the estimate as its rate changes; infinite if unlocked.

        An estimate itself, and never to be used where the guarantee is meant.
        """
        interval = self.guarantee(now_us)
        if interval is None:
            return math.inf
        offset_us = self._estimate_us(interval, now_us)
        surely_us = max(interval.high_us - offset_us, offset_us - interval.low_us)
        if self._fit is None or not self._fit.steady:
            return surely_us
        return min(surely_us, self._fit.error_us(now_us, offset_us))

    def make_map(self, number: int, now_us: int) -> ClockMap:
        """The map through the estimate at this instant. Raises ClockUnlockedError."""
        offset_us = self.offset_us(now_us)
        if offset_us is None:
            raise ClockUnlockedError(self.reason)
        return ClockMap(number, now_us, now_us + round(offset_us), round(self.rate * 1e9))

    def uncertainty_us(self, clock_map: ClockMap, remainder_us: int, now_us: int) -> float:
        """The larger distance, in arm time, from a map to either end of the guarantee.

        With remainder 0 this is the clock error bound e of the map. With the remainder that a
        joint reports (its arm clock − map), it bounds the error of the clock that the joint goes
        by until the remainder is bled off. Infinite while unlocked.
        """
        interval = self.guarantee(now_us)
        if interval is None:
            return math.inf
        ahead_us = clock_map.to_arm(now_us + interval.high_us) + remainder_us - now_us
        behind_us = clock_map.to_arm(now_us + interval.low_us) + remainder_us - now_us
        # A joint tells its remainder in whole µs. And the map computes in doubles: the next whole
        # µs is surely beyond their rounding.
        return math.floor(max(ahead_us, -behind_us) + 0.5) + 1.0

    def _estimate_us(self, interval: Interval, now_us: int) -> float:
        if self._fit is None:
            return interval.middle_us
        return interval.clamp(self._fit.best.at(now_us))

    def _contradicted(self, contradiction: Contradiction, now_us: int) -> None:
        self._forget()
        self._fresh_from_us = now_us
        self._contradictions.append(now_us)
        drift_ppm = self._guarantee.drift_ppm
        step = (
            f"limits {contradiction.apart_us / US:.3f} s apart contradict each other by "
            f"{contradiction.gap_us} µs beyond a drift of {drift_ppm} ppm"
        )
        if self.out_of_tolerance(now_us):
            self._cause = (
                f"{CONTRADICTIONS_LIMIT} contradictions within "
                f"{CONTRADICTIONS_WITHIN_US // US} s mean that its crystal is off by more than "
                f"{drift_ppm} ppm, or that it is stepped again and again; in the last, {step}"
            )
        else:
            self._cause = f"it was stepped or restarted, for {step}"

    def _forget(self) -> None:
        self._guarantee.flush()
        self._fit = None
        self._fit_due_us = None
        self.locked = False
        self.agreed_joint_us = None

    def _refit(self, now_us: int) -> None:
        """Measure the rate anew, if the limits span enough time."""
        if self._guarantee.span_us < RATE_SPAN_US:
            self._fit = None
            return
        self._fit = fit(
            self._guarantee.upper_limits,
            self._guarantee.lower_limits,
            self._guarantee.drift_ppm / PPM,
            now_us,
        )
        self._fit_due_us = now_us + FIT_INTERVAL_US
