"""Forecasts of when a slip ring is worn out, against rings that wear as the software joints' do.

The truth is richer than the straight line: contacts that scatter round the ring by a share of what
they have, wear by turns and not by days, days of more and of less work and days of none, dividers
that are off by up to 1 % for good, readings with noise. What joints draw is what it is taken to be:
it scales values and limit alike (`coordinator/health/wear.py`). A ring's resistance is its mean
round the turn.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from random import Random
from statistics import fmean, median

from coordinator.health.hop_estimate import HopEstimator
from coordinator.health.supply_chain import APART_STANDS
from coordinator.health.wear import day_values, lasting_ohm, wear
from simulator.physics.slip_ring import SECTORS, SlipRing, SupplyMeter
from simulator.physics.supply import chain_voltages
from tests.bench.figures import percentile, show
from tests.bench.in_virtual_time import shared_out
from tests.bench.limits import share_limits
from tests.bench.supply import DIVIDER

GOAL_HELD = (0.85, 0.95)
SOURCE_V = 24.0
WATTS = (1.0, 3.0, 8.0)
TURNS_A_DAY = 200.0
LONGEST = 20
"""Times as long as it was watched: by then any of these rings is worn out."""


class WornArm:
    """One random arm with a ring that wears, a day at a time."""

    def __init__(self, draw: Random) -> None:
        self.random = draw
        count = draw.randint(2, 5)
        self.index = draw.randrange(count)
        self.hop_ohm = [math.exp(draw.uniform(math.log(0.03), math.log(0.2))) for _ in range(count)]
        scatter, noise_v = draw.uniform(0.02, 0.1), draw.uniform(0.005, 0.02)
        self.watched = draw.randint(20, 120)
        """Days."""
        self._stands_a_day = draw.randint(5, 20)
        gains_ohm = draw.uniform(0.05, 0.3)
        self.limit_ohm = self.hop_ohm[self.index] + gains_ohm * draw.uniform(1.1, 2.5)
        by_turn = gains_ohm / (self.watched * TURNS_A_DAY * self.hop_ohm[self.index])
        self._rings = [
            SlipRing(ohm, by_turn if k == self.index else 0.0, scatter, draw)
            for k, ohm in enumerate(self.hop_ohm)
        ]
        self._meters = [
            SupplyMeter(draw.uniform(-DIVIDER, DIVIDER), noise_v, draw) for _ in range(count)
        ]
        self._varies, self._idle = draw.uniform(0.0, 0.3), draw.uniform(0.0, 0.3)
        self._turns = 0.0
        self._estimator, self._stands = HopEstimator(count), 0

    @property
    def ring_ohm(self) -> float:
        """The mean round the worn ring, which turns once for that."""
        ring, found = self._rings[self.index], []
        for _ in range(SECTORS):
            self._turns += 1.0 / SECTORS
            ring.turn(self._turns)
            found.append(ring.ohm)
        return fmean(found)

    def day(self, *, fits: bool = True) -> list[float]:
        """A day goes by; what was fitted of the worn hop in it."""
        draw, found = self.random, list[float]()
        if draw.random() < self._idle:
            return found
        work = TURNS_A_DAY * max(0.05, draw.gauss(1.0, self._varies)) / (1.0 - self._idle)
        if not fits:
            self._turns += work
            self._rings[self.index].turn(self._turns)
            return found
        for _ in range(self._stands_a_day):
            self._turns += work / self._stands_a_day
            for k, ring in enumerate(self._rings):
                place = math.floor(self._turns) if k == self.index else 0
                ring.turn(place + draw.random())
            watts = [draw.choice(WATTS) for _ in self._rings]
            volts = chain_voltages(SOURCE_V, [ring.ohm for ring in self._rings], watts)
            readings = draw.randint(1, 10)
            self._estimator.add(
                [
                    fmean(meter.reading_mv(v) for _ in range(readings)) / 1_000
                    for meter, v in zip(self._meters, volts, strict=True)
                ],
                watts,
            )
            self._stands += 1
            if self._stands == APART_STANDS:
                ohm = self._estimator.estimate().hops[self.index].ohm
                self._estimator, self._stands = HopEstimator(len(self._rings)), 0
                if ohm is not None:
                    found.append(ohm)
        return found


@dataclass(frozen=True, slots=True)
class Forecast:
    """One, and what came. Days since it was first watched."""

    watched: int
    true_day: float
    passes_day: float | None = None
    """None where there was none."""
    earliest_day: float = math.nan
    latest_day: float = math.nan

    @property
    def held(self) -> bool:
        """Whether the true day was within it."""
        return self.earliest_day <= self.true_day <= self.latest_day


def forecast(seed: int) -> Forecast:
    """Of one random ring."""
    arm = WornArm(Random(f"worn ring {seed}"))
    means, truths = list[tuple[int, float]](), list[float]()
    for number in range(arm.watched):
        found = arm.day()
        if found:
            means.append((number, fmean(found)))
        truths.append(arm.ring_ohm)
    lasting = lasting_ohm(arm.index, arm.hop_ohm, arm.limit_ohm)
    told = wear(day_values(means), arm.limit_ohm, lasting)
    while truths[-1] < arm.limit_ohm and len(truths) < LONGEST * arm.watched:
        arm.day(fits=False)
        truths.append(arm.ring_ohm)
    true_day = next(k for k, ohm in enumerate(truths) if ohm >= arm.limit_ohm) + 0.5
    if told.passes_day is None or told.earliest_day is None or told.latest_day is None:
        return Forecast(arm.watched, true_day)
    return Forecast(arm.watched, true_day, told.passes_day, told.earliest_day, told.latest_day)


def table(rings: int, seed: int, processes: int) -> list[str]:
    """The table over so many random rings; gives which goal is missed."""
    seeds = range(seed * 1_000_000, seed * 1_000_000 + rings)
    found = [one for _, one in shared_out(forecast, seeds, processes, "rings")]
    ahead = ((1.0, 1.5), (1.5, 2.5), (2.5, math.inf))
    rows = [
        (
            f"{low:g} to {high:g} times as long as watched" if high < math.inf else f"from {low:g}",
            *_row([one for one in found if low <= one.true_day / one.watched < high]),
        )
        for low, high in ahead
    ]
    rows.insert(
        0, ("while it was watched", *_row([one for one in found if one.true_day < one.watched]))
    )
    show(
        f"When a ring is worn out, {rings} random rings, by how far ahead that was in truth",
        (
            "worn out", "rings", "with a day", "error p50, share of the time to it", "p90",
            "later than true, p50", "90 % intervals hold the true day", "95 % limits",
            "true earlier", "true later",
        ),
        [*rows, ("all", *_row(found))],
        f"Goal: intervals that hold {GOAL_HELD[0]:.0%} to {GOAL_HELD[1]:.0%}.",
    )  # fmt: skip
    return missed(found)


def missed(found: Sequence[Forecast], margin: float = 0.0) -> list[str]:
    """Whether these miss the goal by more than a margin (a share)."""
    made = [one for one in found if one.passes_day is not None]
    held = sum(one.held for one in made) / len(made)
    if GOAL_HELD[0] - margin <= held <= GOAL_HELD[1] + margin:
        return []
    return [f"90 % intervals of when a ring is worn out hold {held:.1%}"]


def _row(some: Sequence[Forecast]) -> tuple[object, ...]:
    made = [one for one in some if one.passes_day is not None]
    if not made:
        return len(some), 0, *["–"] * 7
    off = [((one.passes_day or 0.0) - one.true_day) / one.true_day for one in made]
    held = sum(one.held for one in made)
    limits = share_limits(held, len(made))
    return (
        len(some),
        len(made),
        *(f"{100 * percentile([abs(one) for one in off], p):.1f} %" for p in (50, 90)),
        f"{100 * median(off):+.1f} %",
        f"{100 * held / len(made):.1f} %",
        f"{limits.low:.1f} to {limits.high:.1f} %",
        f"{100 * sum(one.true_day < one.earliest_day for one in made) / len(made):.1f} %",
        f"{100 * sum(one.true_day > one.latest_day for one in made) / len(made):.1f} %",
    )
