"""What a Wi-Fi link does to the frames between the coordinator and one joint.

The delay of a frame on its way is base + lognormal + now and then a long tail, as busy
air gives. Losses come in bursts: a Gilbert–Elliott chain, good or bad, that steps once per 10 ms of
*time*, so that sending faster earns no luck. Both directions share it, as they share the air. Each
direction is a queue, first in, first out, which a few frames leave for a way of their own.

A station that sleeps (IEEE 802.11 power save) fetches what waits for it at the access point at a
beacon, and is awake for a while then and after it has sent something: frames that find it asleep
wait for the next beacon.

The table `PROFILES` holds assumptions, shaped to published measurements of Wi-Fi stations
(arduino-esp32 issues 3816 and 1484, esp-idf issue 15345). `none` is a link that adds nothing.

A `Link` draws from its seed only, and time comes in as an argument: the same calls give the same
link. It decides at the moment of sending when a frame will arrive. Calls come in the order of time.
"""

import math
from dataclasses import dataclass
from random import Random
from typing import Final, Literal

Direction = Literal["forward", "back"]
"""Forward is from the coordinator to the joint."""

BOTH: Final[tuple[Direction, ...]] = ("forward", "back")

MS: Final = 1000
MINUTE_US: Final = 60_000_000

STEP_US: Final = 10_000  # of the chain, whatever the traffic
LONG_AGO_US: Final = -(1 << 60)  # before any time of a world

# The back path, from the joint, is the quieter one.
BACK_MEDIAN: Final = 0.7
BACK_TAIL: Final = 0.6

# A joint's radio sends some frames late (esp-idf issue 15345 shows such gaps).
HELD_BACK_MS: Final = (10.0, 20.0)
# A sleeping station collects frames at the next beacon: 100 time units of 1.024 ms (IEEE 802.11).
POWER_SAVE_MS: Final = 102.4
OUTAGE_S: Final = (0.5, 2.0)

# A stream's sender repeats what was not acknowledged after a time-out that doubles each time
# (RFC 6298 section 5). Its floor there is 1 s; 200 ms is common practice. The real one follows the
# measured round trip upwards, and may back off further than 3.2 s: both are left out.
MIN_RTO_US: Final = 200_000
MAX_RTO_US: Final = 3_200_000


@dataclass(frozen=True, slots=True)
class Profile:
    """How one kind of network behaves. Each probability is per frame unless it says otherwise."""

    base_forward_ms: float = 0.0
    base_back_ms: float = 0.0
    median_ms: float = 0.0
    """Median of the lognormal part on the way to the joint; the back path has 0.7 of it."""
    sigma: float = 0.0
    """Standard deviation of the lognormal part's logarithm."""
    tail_probability: float = 0.0
    """On the way to the joint; the back path has 0.6 of it."""
    tail_mean_ms: float = 0.0
    """Mean of the exponential tail."""
    power_save_probability: float = 0.0
    """Of a frame to the joint waiting for up to 102.4 ms, evenly spread."""
    beacon_ms: float = 0.0
    """From one beacon to the next at which a sleeping joint fetches its frames; 0 if it never
    sleeps."""
    awake_ms: float = 0.0
    """How long it stays awake once it has fetched or sent a frame."""
    good_to_bad: float = 0.0
    """Per 10 ms step of the chain."""
    bad_to_good: float = 0.0
    """Per 10 ms step of the chain."""
    loss_bad: float = 0.0
    loss_good: float = 0.0
    reorder_probability: float = 0.0
    duplicate_probability: float = 0.0
    held_back_probability: float = 0.0
    """Of a frame from the joint leaving 10 to 20 ms late."""
    outages_per_minute: float = 0.0
    """Mean number of outages that begin in a minute; each takes both directions for 0.5 to 2 s."""


PROFILES: Final[dict[str, Profile]] = {
    "none": Profile(),
    "quiet": Profile(
        base_forward_ms=0.6,
        base_back_ms=0.5,
        median_ms=0.25,
        sigma=0.7,
        tail_probability=0.005,
        tail_mean_ms=6.0,
        good_to_bad=0.001,
        bad_to_good=0.5,
        loss_bad=0.5,
        loss_good=0.0005,
        duplicate_probability=0.001,
        held_back_probability=0.01,
    ),
    "home": Profile(
        base_forward_ms=0.7,
        base_back_ms=0.6,
        median_ms=0.8,
        sigma=1.0,
        tail_probability=0.03,
        tail_mean_ms=20.0,
        good_to_bad=0.004,
        bad_to_good=0.4,
        loss_bad=0.5,
        loss_good=0.002,
        reorder_probability=0.0005,
        duplicate_probability=0.001,
        held_back_probability=0.01,
    ),
    "busy": Profile(
        base_forward_ms=0.8,
        base_back_ms=0.7,
        median_ms=3.0,
        sigma=1.1,
        tail_probability=0.10,
        tail_mean_ms=50.0,
        good_to_bad=0.02,
        bad_to_good=0.3,
        loss_bad=0.6,
        loss_good=0.01,
        reorder_probability=0.005,
        duplicate_probability=0.001,
        held_back_probability=0.01,
        outages_per_minute=0.1,
    ),
    "hostile": Profile(
        base_forward_ms=0.8,
        base_back_ms=0.7,
        median_ms=4.0,
        sigma=1.1,
        tail_probability=0.12,
        tail_mean_ms=60.0,
        power_save_probability=0.7,
        good_to_bad=0.03,
        bad_to_good=0.12,
        loss_bad=0.8,
        loss_good=0.03,
        reorder_probability=0.02,
        duplicate_probability=0.001,
        held_back_probability=0.01,
        outages_per_minute=1.0,
    ),
    "power-save": Profile(
        base_forward_ms=0.6,
        base_back_ms=0.5,
        median_ms=0.25,
        sigma=0.7,
        tail_probability=0.005,
        tail_mean_ms=6.0,
        beacon_ms=POWER_SAVE_MS,
        awake_ms=10.0,
        good_to_bad=0.001,
        bad_to_good=0.5,
        loss_bad=0.5,
        loss_good=0.0005,
        duplicate_probability=0.001,
        held_back_probability=0.01,
    ),
}


@dataclass(frozen=True, slots=True)
class _Outage:
    start_us: int
    end_us: int
    directions: tuple[Direction, ...]


@dataclass(slots=True)
class _Way:
    """One direction: its figures in µs, and when the last frame of each queue arrives."""

    direction: Direction
    base_us: float
    median_us: float
    tail_probability: float
    power_save_probability: float
    held_back_probability: float
    last_frame_us: int = 0
    last_stream_us: int = 0


class Link:
    """The link between the coordinator and one joint, both directions.

    All times are in µs, from 0 up, on one clock of the caller's choice. `start_us` is the instant
    from which random outages may begin.
    """

    def __init__(self, profile: Profile, seed: int, start_us: int = 0) -> None:
        self.profile = profile
        self._random = Random(seed)
        self._drawn: float | None = None
        """The second number of a pair that was drawn."""
        # Of their own, so that when outages come does not depend on the traffic.
        self._outage_random = Random(f"outages {seed}")
        self._ways: dict[Direction, _Way] = {
            "forward": _Way(
                "forward",
                profile.base_forward_ms * MS,
                profile.median_ms * MS,
                profile.tail_probability,
                profile.power_save_probability,
                0.0,
            ),
            "back": _Way(
                "back",
                profile.base_back_ms * MS,
                profile.median_ms * MS * BACK_MEDIAN,
                profile.tail_probability * BACK_TAIL,
                0.0,
                profile.held_back_probability,
            ),
        }
        leaving = profile.good_to_bad + profile.bad_to_good
        self._bad_share = profile.good_to_bad / leaving if leaving else 0.0
        self._memory = 1.0 - leaving
        self._step = start_us // STEP_US
        self._bad = self._random.random() < self._bad_share
        # Of its own too: a link whose station never sleeps draws what it always drew.
        self._beacon_us = int(Random(f"beacon {seed}").random() * profile.beacon_ms * MS)
        self._fetched_us = self._sent_us = LONG_AGO_US
        """When a sleeping joint fetches what came last for it, and when it sent last."""
        self._outages: list[_Outage] = []
        self._next_outage_us = math.inf
        if profile.outages_per_minute:
            self._next_outage_us = start_us + self._until_next_outage_us()

    def forward(self, now_us: int) -> tuple[int, ...]:
        """When a datagram that leaves for the joint now arrives: empty if lost, two if doubled."""
        return self._send(self._ways["forward"], now_us)

    def back(self, now_us: int) -> tuple[int, ...]:
        """When a datagram that leaves the joint now arrives: empty if lost, two if doubled."""
        self._sent_us = now_us
        return self._send(self._ways["back"], now_us)

    def stream_delay(self, direction: Direction, now_us: int) -> int:
        """How long what is written to a reliable stream now takes to arrive, in µs.

        Loss shows as delay: each lost try costs a retransmission time-out, 200 ms and then twice
        as long each time up to 3.2 s, and what was written later waits behind it. A stream never
        breaks here, however long an outage takes.
        """
        way = self._ways[direction]
        self._advance(now_us)
        try_us, rto_us, bad = now_us, MIN_RTO_US, self._bad
        while True:
            outage_end_us = self._outage_end(way, try_us)
            if not outage_end_us and self._random.random() >= self._loss(bad):
                break
            step = try_us // STEP_US
            # At the longest time-out all tries within a long outage are taken at once.
            tries = max(1, -((try_us - outage_end_us) // rto_us)) if rto_us == MAX_RTO_US else 1
            try_us += tries * rto_us
            rto_us = min(2 * rto_us, MAX_RTO_US)
            # Looked ahead on the side: the chain itself stays at `now_us` for other frames.
            bad = self._bad_after(try_us // STEP_US - step, bad)
        asleep_us = self._asleep_us(way, try_us)
        arrival_us = try_us + asleep_us + int(self._delay_us(way))
        way.last_stream_us = max(way.last_stream_us, arrival_us)
        return way.last_stream_us - now_us

    def outage(self, start_us: int, end_us: int, directions: tuple[Direction, ...] = BOTH) -> None:
        """Script an outage: what is sent from `start_us` to just before `end_us` is lost.

        Raises `ValueError` if it does not end after it starts.
        """
        if end_us <= start_us:
            raise ValueError(
                f"An outage must end after it starts, not at {end_us} µs after {start_us} µs."
            )
        self._outages.append(_Outage(start_us, end_us, directions))

    def _send(self, way: _Way, now_us: int) -> tuple[int, ...]:
        self._advance(now_us)
        random = self._random.random
        if self._outage_end(way, now_us) or random() < self._loss(self._bad):
            return ()
        profile = self.profile
        asleep_us = self._asleep_us(way, now_us)
        if way.direction == "forward":
            self._fetched_us = now_us + asleep_us
        arrival_us = now_us + asleep_us + int(self._delay_us(way))
        in_order = random() >= profile.reorder_probability
        if in_order and arrival_us < way.last_frame_us:
            arrival_us = way.last_frame_us
        arrivals: tuple[int, ...] = (arrival_us,)
        if random() < profile.duplicate_probability:
            # The radio repeats a frame whose acknowledgement was lost: the copy follows at once.
            arrivals = (arrival_us, arrival_us + int(self._lognormal_us(way)))
        if in_order:
            way.last_frame_us = arrivals[-1]
        return arrivals

    def _asleep_us(self, way: _Way, at_us: int) -> int:
        """How long a frame waits until the joint wakes."""
        interval_us = round(self.profile.beacon_ms * MS)
        if way.direction == "back" or not interval_us:
            return 0
        awake_us = self.profile.awake_ms * MS
        if 0 <= at_us - self._fetched_us < awake_us or 0 <= at_us - self._sent_us < awake_us:
            return 0
        return -(at_us - self._beacon_us) % interval_us

    def _delay_us(self, way: _Way) -> float:
        """Draw the time on the way, apart from waiting behind other frames."""
        random = self._random
        delay_us = way.base_us + self._lognormal_us(way)
        if random.random() < way.tail_probability:
            delay_us += random.expovariate(1.0 / (self.profile.tail_mean_ms * MS))
        if random.random() < way.power_save_probability:
            delay_us += random.uniform(0.0, POWER_SAVE_MS * MS)
        if random.random() < way.held_back_probability:
            delay_us += random.uniform(HELD_BACK_MS[0] * MS, HELD_BACK_MS[1] * MS)
        return delay_us

    def _lognormal_us(self, way: _Way) -> float:
        return way.median_us * math.exp(self._gauss() * self.profile.sigma)

    def _gauss(self) -> float:
        """Draw from the standard normal distribution, two at a time (Box and Muller 1958)."""
        drawn, self._drawn = self._drawn, None
        if drawn is None:
            angle = self._random.random() * math.tau
            radius = math.sqrt(-2.0 * math.log(1.0 - self._random.random()))
            drawn, self._drawn = math.cos(angle) * radius, math.sin(angle) * radius
        return drawn

    def _loss(self, bad: bool) -> float:
        return self.profile.loss_bad if bad else self.profile.loss_good

    def _advance(self, now_us: int) -> None:
        """Step the chain up to now and forget the outages that are over."""
        step = now_us // STEP_US
        if step > self._step:
            self._bad = self._bad_after(step - self._step, self._bad)
            self._step = step
        if self._outages:
            self._outages = [outage for outage in self._outages if outage.end_us > now_us]

    def _bad_after(self, steps: int, bad: bool) -> bool:
        """Draw the chain's state after so many steps at once.

        A chain of two states forgets where it was by the same factor at each step, so the chance
        of *bad* after n steps is share + (bad − share)·(1 − p − q)ⁿ.
        """
        chance = self._bad_share + (bad - self._bad_share) * self._memory**steps
        return self._random.random() < chance

    def _outage_end(self, way: _Way, at_us: int) -> int:
        """When the outage of this instant ends, in µs; 0 if there is none."""
        while at_us >= self._next_outage_us:
            start_us = int(self._next_outage_us)
            length_us = int(self._outage_random.uniform(*OUTAGE_S) * 1e6)
            self._outages.append(_Outage(start_us, start_us + length_us, BOTH))
            self._next_outage_us += self._until_next_outage_us()
        if not self._outages:
            return 0
        ends = (
            outage.end_us
            for outage in self._outages
            if outage.start_us <= at_us < outage.end_us and way.direction in outage.directions
        )
        return max(ends, default=0)

    def _until_next_outage_us(self) -> float:
        return self._outage_random.expovariate(self.profile.outages_per_minute / MINUTE_US)
