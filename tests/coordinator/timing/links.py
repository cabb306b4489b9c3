"""Exchanges with a true clock over the simulated network profiles."""

from collections.abc import Iterator
from dataclasses import dataclass
from heapq import heappop, heappush

from coordinator.timing.exchange import Exchange
from simulator.network import PROFILES, Link, Profile
from tests.coordinator.timing.true_clocks import TrueClock

PROFILE_NAMES = tuple(name for name in PROFILES if name not in ("none", "power-save"))
"""Those that an arm is meant to work on."""
HELD_US = 200
"""A joint takes this long to check a tag and to answer (assumed)."""


@dataclass(frozen=True)
class Sent:
    sequence: int
    at_us: int


@dataclass(frozen=True)
class Answered:
    sequence: int
    exchange: Exchange

    @property
    def at_us(self) -> int:
        return self.exchange.t4_us


def over(
    profile: str | Profile, seed: int, clock: TrueClock, seconds: float, interval_us: int = 40_000
) -> Iterator[Sent | Answered]:
    """What a coordinator sees that sends at this interval, by time. A copy gets no answer."""
    link = Link(PROFILES[profile] if isinstance(profile, str) else profile, seed)
    # (when, kind, sequence, sent, received): kinds by what comes first at the same instant.
    due: list[tuple[int, int, int, int, int]] = []
    for sequence in range(int(seconds * 1e6) // interval_us):
        heappush(due, (sequence * interval_us, 0, sequence, sequence * interval_us, 0))
    while due:
        now_us, kind, sequence, sent_us, received_us = heappop(due)
        if kind == 0:
            yield Sent(sequence, now_us)
            for arrival_us in link.forward(now_us)[:1]:
                heappush(due, (arrival_us + HELD_US, 1, sequence, sent_us, arrival_us))
        elif kind == 1:
            for arrival_us in link.back(now_us)[:1]:
                heappush(due, (arrival_us, 2, sequence, sent_us, received_us))
        else:
            held_us = HELD_US
            out_us = received_us - sent_us
            back_us = now_us - received_us - held_us
            yield Answered(sequence, clock.exchange(sent_us, out_us, held_us, back_us))
