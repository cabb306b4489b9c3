"""Hops estimated over random arms, against the truth of the software joints' world.

What a coordinator does not know is drawn for each arm: hops and the source, contacts that scatter
round the ring, dividers within their tolerance, noise, and what each joint truly draws.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from random import Random
from statistics import fmean

from coordinator.health.hop_estimate import WATTS_UNCERTAINTY, Hop, HopEstimator
from simulator.physics.slip_ring import SlipRing, SupplyMeter
from simulator.physics.supply import chain_voltages
from tests.bench.figures import percentile, show
from tests.bench.limits import share_limits

DIVIDER = 0.01
"""Two resistors of 1 %: the divider is off by anything within it."""
OFF, HOLD, RUN = 1.0, 2.0, 3.0
"""Loads in W for which figures are scaled: electronics, at rest, in motion."""

STANDS = (8, 16, 40, 128)


@dataclass(slots=True)
class TrueArm:
    """One random arm: what is true of it, and what it is taken to draw."""

    random: Random
    source_v: float = field(init=False)
    source_ohm: float = field(init=False)
    hop_ohm: list[float] = field(init=False)
    rings: list[SlipRing] = field(init=False)
    meters: list[SupplyMeter] = field(init=False)
    loads: list[dict[float, float]] = field(init=False)
    factors: list[float] = field(init=False)

    def __post_init__(self) -> None:
        draw = self.random
        count = draw.randint(2, 8)
        self.source_v = draw.choice((12.0, 19.0, 24.0))
        self.source_ohm = draw.uniform(0.0, 0.15)
        self.hop_ohm = [math.exp(draw.uniform(math.log(0.02), math.log(0.6))) for _ in range(count)]
        scatter, noise_v = draw.uniform(0.02, 0.1), draw.uniform(0.005, 0.02)
        self.rings = [SlipRing(ohm, 0.0, scatter, draw) for ohm in self.hop_ohm]
        self.meters = [
            SupplyMeter(draw.uniform(-DIVIDER, DIVIDER), noise_v, draw) for _ in range(count)
        ]
        most_w = 0.1 * self.source_v**2 / sum(self.hop_ohm) / count
        # No arm collapses: all of them at once drop a tenth of the source or so.
        self.loads = []
        for _ in range(count):
            run_w = min(draw.uniform(3.0, 12.0), most_w)
            self.loads.append({OFF: 0.2 * run_w, HOLD: draw.uniform(0.3, 0.6) * run_w, RUN: run_w})
        self.factors = [max(0.3, draw.gauss(1.0, WATTS_UNCERTAINTY)) for _ in range(count)]

    @property
    def true_ohm(self) -> list[float]:
        """What an estimate is of: the means of the rings, the first with the source."""
        return [self.source_ohm + self.hop_ohm[0], *self.hop_ohm[1:]]

    def stands(self, count: int) -> Iterator[tuple[list[float], list[float]]]:
        """Mean readings and the watts taken: at first each joint moves alone, as in homing."""
        joints = len(self.hop_ohm)
        for number in range(count):
            alone = number % joints if number < joints else None
            state = self.random.choice((OFF, HOLD, HOLD, RUN, RUN))
            others = HOLD if number < joints else state
            states = [RUN if k == alone else others for k in range(joints)]
            watts = [load[one] for load, one in zip(self.loads, states, strict=True)]
            yield self._volts(watts), watts

    def _volts(self, watts: Sequence[float]) -> list[float]:
        drawn = [w * factor for w, factor in zip(watts, self.factors, strict=True)]
        for ring in self.rings:
            ring.turn(self.random.random())
        hops = [ring.ohm for ring in self.rings]
        hops[0] += self.source_ohm
        volts = chain_voltages(self.source_v, hops, drawn)
        readings = self.random.randint(1, 10)
        return [
            fmean(meter.reading_mv(v) for _ in range(readings)) / 1_000
            for meter, v in zip(self.meters, volts, strict=True)
        ]


@dataclass(slots=True)
class Seen:
    """Hops over many arms: errors as shares of the truth, and how many intervals held it."""

    errors: list[float] = field(default_factory=list)
    held: int = 0
    without: int = 0
    """Of which no figure was given."""

    def take(self, hop: Hop, true_ohm: float) -> None:
        """One more hop."""
        if hop.ohm is None or hop.half_width_ohm is None:
            self.without += 1
            return
        self.errors.append(abs(hop.ohm - true_ohm) / true_ohm)
        self.held += abs(hop.ohm - true_ohm) <= hop.half_width_ohm


def estimated(arms: int, stands: int, seed: int) -> Seen:
    """All hops of so many random arms after so many stands each."""
    seen = Seen()
    for number in range(arms):
        arm = TrueArm(Random(f"supply {seed} {number}"))
        estimator = HopEstimator(len(arm.hop_ohm))
        for volts, watts in arm.stands(stands):
            estimator.add(volts, watts)
        for hop, true_ohm in zip(estimator.estimate().hops, arm.true_ohm, strict=True):
            seen.take(hop, true_ohm)
    return seen


def supply(arms: int, seed: int) -> None:
    """The table: error and coverage by the number of stands."""
    rows = []
    for stands in STANDS:
        seen = estimated(arms, stands, seed)
        given = len(seen.errors)
        limits = share_limits(seen.held, given)
        rows.append(
            (
                stands,
                given,
                seen.without,
                *(f"{100 * percentile(seen.errors, p):.0f} %" for p in (50, 90)),
                f"{100 * seen.held / given:.1f} %",
                f"{limits.low:.1f} to {limits.high:.1f} %",
            )
        )
    show(
        f"Hop resistances estimated on {arms} random arms, error as a share of the truth",
        (
            "stands", "hops with a figure", "without", "error p50", "p90",
            "truth within the 90 % interval", "95 % limits",
        ),
        rows,
    )  # fmt: skip
