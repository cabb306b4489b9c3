"""One joint's clock and what the coordinator knows of it, over many starts: no core, no plans.

A crystal, a link with its exchanges, the real clock of the coordinator (`JointClock`), its maps,
and the real clock of a joint (`ArmClock`), which slews from accepting a start on. No plan can fail.
The joint starts when its clock shows the start's instant. True time is arm time here.
"""

import heapq
import math
from bisect import bisect_right
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import count
from random import Random

from coordinator.core.clock_maps import MAP_INTERVAL_US
from coordinator.core.run.run import SETTLE_US
from coordinator.timing.clock import JointClock
from coordinator.timing.exchange import Exchange
from protocol.clockmap import ArmClock, ClockMap
from protocol.constants import ACTIVE_INTERVAL_US, IDLE_INTERVAL_US, US
from simulator.network import PROFILES, Link
from simulator.physics.clock import JointOscillator
from simulator.unit import UPTIME_US

ACTIVE_FIRST_US = 8 * US
"""200 exchanges at 25 Hz."""
BEFORE_GO_US = 400_000
"""Exchanges at 25 Hz for loading, preparing and arming."""
MOVE_US = 1_500_000
"""From the instant of a start until the joint rests again."""
LEAD_US = {"quiet": 130_000, "home": 300_000, "busy": 900_000, "hostile": 1_450_000}
"""Medians of what the whole core takes."""
SKEW_PPM = 90.0
"""With the wander of 10 ppm, crystals up to the bound of 100 ppm: twice as bad as real ones."""


@dataclass(slots=True)
class KnownStart:
    """One joint at one start: when it truly began, and what was known of its clock."""

    true_us: float
    joint_us: int
    low_us: float
    """The guarantee's ends and the estimate, as errors: less the true offset."""
    high_us: float
    estimate_us: float
    stated_us: float
    clock_us: float
    """Error of the clock that the joint went by."""
    clock_uncertainty_us: float
    dated: tuple[int, int] | None = None
    """Between which instants it began, as the report states after a few more exchanges."""


class ClockPart:
    """One joint's exchanges and starts, in order of time. Times in µs of arm time."""

    def __init__(self, network: str, seed: int, instants: list[int]) -> None:
        random = Random(seed)
        self._crystal = JointOscillator(
            random.uniform(1.0, UPTIME_US),
            random.uniform(-SKEW_PPM, SKEW_PPM),
            random.getrandbits(32),
        )
        self._link = Link(PROFILES[network], random.getrandbits(64), 0)
        self._start_delay_us = LEAD_US[network]
        self._instants = instants
        self._clock = JointClock()
        self._arm_clock: ArmClock | None = None
        self._map: ClockMap | None = None
        self._slewing = False
        """Whether the joint has accepted a start and does not rest yet."""
        self._starts: list[KnownStart | None] = []
        self._queue: list[tuple[int, int, Callable[..., None], tuple[object, ...]]] = []
        self._order = count()

    def starts(self) -> list[KnownStart | None]:
        """Run to the last start; none for one at which the clock was not trusted."""
        for sent_us in self._sendings():
            self._at(sent_us, self._send)
        for at_us in self._instants:
            self._at(at_us, self._start)
            self._at(at_us + SETTLE_US, self._settle)
            self._at(at_us + MOVE_US, self._rest)
        while self._queue:
            now, _, happen, args = heapq.heappop(self._queue)
            happen(now, *args)
        return self._starts

    def _at(self, at_us: int, happen: Callable[..., None], *args: object) -> None:
        heapq.heappush(self._queue, (at_us, next(self._order), happen, args))

    def _sendings(self) -> Iterator[int]:
        """25 Hz at first and around each start, otherwise 5 Hz."""
        at_us, coming = 0, iter(self._instants)
        next_us: int | None = next(coming)
        while next_us is not None:
            yield at_us
            if at_us > next_us + MOVE_US:
                next_us = next(coming, None)
                continue
            near = at_us > next_us - self._start_delay_us - BEFORE_GO_US
            at_us += ACTIVE_INTERVAL_US if near or at_us < ACTIVE_FIRST_US else IDLE_INTERVAL_US

    def _send(self, now: int) -> None:
        if self._clock.locked and (not self._map or now - self._map.arm_us >= MAP_INTERVAL_US):
            self._map = self._clock.make_map(self._map.number + 1 if self._map else 1, now)
        coming = self._instants[bisect_right(self._instants, now) :][:1]
        is_set = any(at_us - self._start_delay_us <= now for at_us in coming)
        for arrival_us in self._link.forward(now)[:1]:
            self._at(arrival_us, self._drive_arrives, now, self._map, is_set)

    def _drive_arrives(self, now: int, sent_us: int, made: ClockMap | None, is_set: bool) -> None:
        """The joint takes the map that a drive carries, and a start if one is set in it."""
        joint_us = self._crystal.joint_us(now)
        if made is not None and self._arm_clock is None:
            self._arm_clock = ArmClock(made)
        elif made is not None and self._arm_clock and made.number > self._arm_clock.map.number:
            self._arm_clock.accept(made, joint_us, jump=not self._slewing)
        self._slewing = self._slewing or is_set
        for arrival_us in self._link.back(now)[:1]:
            self._at(arrival_us, self._reply_arrives, sent_us, joint_us)

    def _reply_arrives(self, now: int, sent_us: int, joint_us: float) -> None:
        exchange = Exchange(sent_us, math.ceil(joint_us), math.floor(joint_us), now)
        self._clock.observe(exchange, now)

    def _rest(self, now: int) -> None:
        self._slewing = False

    def _start(self, now: int) -> None:
        self._starts.append(self._known_at(now))

    def _known_at(self, now: int) -> KnownStart | None:
        interval, offset_us = self._clock.guarantee(now), self._clock.offset_us(now)
        arm_clock = self._arm_clock
        if interval is None or offset_us is None or arm_clock is None:
            return None
        shown_us = self._crystal.joint_us(now)
        truth_us = shown_us - now
        joint_us = arm_clock.joint(now)
        remainder_us = round(arm_clock.remainder_us(shown_us))
        return KnownStart(
            true_us=self._crystal.true_us(joint_us),
            joint_us=round(joint_us),
            low_us=interval.low_us - truth_us,
            high_us=interval.high_us - truth_us,
            estimate_us=offset_us - truth_us,
            stated_us=self._clock.estimate_error_us(now),
            clock_us=arm_clock.arm(shown_us) - now,
            clock_uncertainty_us=self._clock.uncertainty_us(arm_clock.map, remainder_us, now),
        )

    def _settle(self, now: int) -> None:
        start = self._starts[-1]
        if start is not None:
            start.dated = self._clock.arm_interval(start.joint_us)
