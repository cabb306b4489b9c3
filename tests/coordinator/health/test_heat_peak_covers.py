"""How often the interval of the highest temperature holds the truth, where that is two bodies."""

import math
from collections.abc import Iterator, Sequence
from random import Random
from typing import NamedTuple

from coordinator.health.heat_model import HeatModel
from coordinator.health.heat_peak import peak_c
from tests.bench.figures import percentile, show
from tests.bench.heat import LIMIT_C, WARNING_C, Stretch, TrueJoint, loads

S = 1_000_000
SEED = 20_000
JOINTS = 30
SHORTEST_S, LONGEST_S = 60, 3600
LEARNING_S = 2400
COVERED = 0.80
ABOVE = 0.05
QUIET = ("hold", "reduced", "off")


class Forecast(NamedTuple):
    """One program's highest temperature, told as it began, and what it truly was."""

    for_s: int
    low: float
    high: float
    true_c: float


def programs(seed: int, *, has_fan: bool) -> Iterator[Forecast]:
    """Of one random joint: some programs with a rest before each, the first to learn from."""
    random = Random(f"peak {seed}")
    joint, model, t = TrueJoint(random, has_fan=has_fan), HeatModel(), 0

    def second(load: float) -> tuple[float, float]:
        nonlocal t
        told = joint.second(t, load)
        model.observe(t * S, told[1], load, 100 if joint.fan else 0)
        t += 1
        return told

    for _ in range(600):
        second(joint.hold**2)
    for _ in range(LEARNING_S - 600):
        second(1.0)
    for _ in range(4):
        rest = Stretch(random.randint(300, 1500), random.choice(QUIET), 0.0, 0.0)
        for load in loads(random, rest, joint.hold):
            _, read_c = second(load)
        for_s = round(math.exp(random.uniform(math.log(SHORTEST_S), math.log(LONGEST_S))))
        told = peak_c(read_c, model.report(t * S, WARNING_C, LIMIT_C), for_s, fan_runs=joint.fan)
        true_c = max(second(1.0)[0] for _ in range(for_s))
        if told is not None:
            yield Forecast(for_s, told.low, told.high, true_c)


def forecasts(joints: int, *, has_fan: bool) -> list[Forecast]:
    seeds = range(SEED, SEED + joints)
    return [one for seed in seeds for one in programs(seed, has_fan=has_fan)]


def above(some: Sequence[Forecast]) -> float:
    """In which share of them it got warmer than the interval says."""
    return sum(one.true_c > one.high for one in some) / len(some)


def covered(some: Sequence[Forecast]) -> float:
    """In which share of them the interval held."""
    return sum(one.low <= one.true_c <= one.high for one in some) / len(some)


def test_the_interval_holds_the_highest_temperature_of_two_bodies() -> None:
    found = forecasts(JOINTS, has_fan=False)  # what is told goes by the fan as it is
    by_length = {
        "up to ten minutes": [one for one in found if one.for_s <= 600],
        "longer": [one for one in found if one.for_s > 600],
    }
    show(
        f"90 % intervals of the highest temperature, {JOINTS} random joints, seed {SEED}",
        ("programs", "count", "cover", "truth above", "half of the interval p50 °C"),
        [
            (name, len(some), f"{covered(some):.1%}", f"{above(some):.1%}", f"{half_c:.2f}")
            for name, some in by_length.items()
            for half_c in [percentile([(one.high - one.low) / 2 for one in some], 50)]
        ],
    )
    for some in by_length.values():
        assert len(some) >= 20
        assert covered(some) >= COVERED
        assert above(some) <= ABOVE


def test_a_fan_that_comes_on_makes_nothing_warmer_than_was_told() -> None:
    assert above(forecasts(10, has_fan=True)) <= ABOVE
