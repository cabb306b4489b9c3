"""Forecasts of heat against a truth that the model does not share.

The truth is the simulator's: two bodies, a winding whose resistance grows, noise, converter codes,
a sensor that is off by up to 2 °C (TMP3x data sheet, Analog Devices), air that drifts, and a fan
with a hysteresis. The model (`coordinator/health/heat_model.py`) is one body. A temperature is
here what the sensor would say without noise: its offset is nobody's to know.
"""

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from random import Random

from coordinator.health.heat_forecast import SURE
from coordinator.health.heat_model import AHEAD_S, HeatModel
from simulator.joint.safety import FAN_OFF_CENTI_C, FAN_ON_CENTI_C
from simulator.physics.heat import Thermal, code_to_celsius, drawn_build, sensor_code
from tests.bench.figures import percentile, share, show
from tests.bench.in_virtual_time import shared_out

US = 1_000_000
WITHIN_C = 3.0
GOAL_WITHIN = 0.95
GOAL_COVERED = (0.85, 0.95)
FACTOR = 1.4
"""By which joints differ from the usual one, to either side: wider than one arm's do."""
LONG_S = 3 * 3600
WARNING_C, LIMIT_C = 50.0, 58.0
AGES_S = ((0, 600), (600, 1800), (1800, 3600), (3600, math.inf))


@dataclass(frozen=True)
class Forecast:
    """One, and what came."""

    age_s: int
    """Since the joint was first heard."""
    made: bool
    """Whether there was one at all."""
    error_c: float = math.nan
    half_width_c: float = math.nan
    """Of its 90 % interval."""
    peak_error_c: float = math.nan
    """Of the highest temperature in the ten minutes."""

    @property
    def covered(self) -> bool:
        """Whether the truth lay in the interval."""
        return abs(self.error_c) <= self.half_width_c


@dataclass(frozen=True)
class Stretch:
    """What a joint does for a while."""

    for_s: int
    kind: str
    turns_s: float
    rests_s: float
    """Mean lengths of what a program does by turns."""


def history(random: Random) -> list[Stretch]:
    """Some hours of it: programs, holding, the reduced current, drivers off."""
    found: list[Stretch] = []
    while sum(one.for_s for one in found) < LONG_S:
        kind = random.choice(["play", "play", "hold", "reduced", "off"])
        if found and kind == found[-1].kind:
            continue
        for_s = round(math.exp(random.uniform(math.log(650), math.log(3000))))
        found.append(Stretch(for_s, kind, random.uniform(3, 15), random.uniform(1, 10)))
    return found


def loads(random: Random, stretch: Stretch, hold: float) -> Iterable[float]:
    """The load of each second, as a share of that at run current; `hold` is a share of current."""
    turns, change_s = False, 0
    for second in range(stretch.for_s):
        if stretch.kind == "play" and second >= change_s:
            turns = not turns
            mean_s = stretch.turns_s if turns else stretch.rests_s
            change_s = second + max(1, round(random.uniform(0.5, 1.5) * mean_s))
        if stretch.kind == "off":
            yield 0.0
        elif stretch.kind == "reduced":
            yield (hold / 2) ** 2
        else:
            yield 1.0 if turns else hold**2


class TrueJoint:
    """One random joint, a second at a time."""

    def __init__(self, random: Random, *, has_fan: bool = True) -> None:
        self._random = random
        self._has_fan = has_fan
        self._air_c = random.uniform(15, 32)
        self._drift_c_per_s = random.uniform(-1.0, 1.0) / 3600
        self._body = Thermal(self._air_c, drawn_build(random, FACTOR))
        self._run_watts = random.uniform(1.5, 6.0)
        self.hold = random.uniform(0.4, 0.8)
        self._idle_watts = random.uniform(0.5, 1.5)
        self._noise_c = random.uniform(0.05, 0.3)
        self._offset_c = random.uniform(-2.0, 2.0)
        self._load = -1.0
        self.fan = False

    def second(self, t: int, load: float) -> tuple[float, float]:
        """Second `t` begins, with a load: what the sensor should say, and what is read."""
        if load != self._load:
            self._body.set_power(t * US, self._run_watts * load, self._idle_watts)
            self._load = load
        if t % 300 == 0:
            self._body.set_ambient(t * US, self._air_c + self._drift_c_per_s * t)
        true_c = self._body.temperature(t * US) + self._offset_c
        read_c = code_to_celsius(sensor_code(true_c + self._random.gauss(0.0, self._noise_c)))
        fan = read_c >= FAN_OFF_CENTI_C / 100 if self.fan else read_c >= FAN_ON_CENTI_C / 100
        if self._has_fan and fan is not self.fan:
            self._body.set_fan(t * US, fan)
            self.fan = fan
        return true_c, read_c


def forecasts(seed: int) -> list[Forecast]:
    """Of one random joint: one in each stretch of its history, at any time of it."""
    random = Random(f"heat {seed}")
    joint, model = TrueJoint(random), HeatModel()
    asked: dict[int, tuple[float, float, float]] = {}
    found: list[Forecast] = []
    truth: list[float] = []
    for stretch in history(random):
        begun_s = len(truth)
        ask_s = begun_s + random.randint(30, stretch.for_s - round(AHEAD_S) - 1)
        for load in loads(random, stretch, joint.hold):
            t = len(truth)
            true_c, read_c = joint.second(t, load)
            truth.append(true_c)
            model.observe(t * US, read_c, load, 100 if joint.fan else 0)
            if t == ask_s:
                told = model.report(t * US, WARNING_C, LIMIT_C).ten_minutes_c
                ahead = model.outlook(t * US)
                if told is None or ahead is None:
                    found.append(Forecast(t, made=False))
                    continue
                soon = [c for s, c in zip(ahead.at_s, ahead.likely_c, strict=True) if s <= AHEAD_S]
                asked[t] = told.value, (told.high - told.low) / 2, max(soon)
    for t, (value, half_width, peak) in asked.items():
        later = truth[t : t + round(AHEAD_S) + 1]
        found.append(Forecast(t, True, value - later[-1], half_width, peak - max(later)))
    return found


def table(joints: int, seed: int, processes: int) -> list[str]:
    """The table over so many random joints; gives which goal is missed."""
    seeds = range(seed * 1_000_000, seed * 1_000_000 + joints)
    found = [one for _, some in shared_out(forecasts, seeds, processes, "joints") for one in some]
    rows: list[tuple[object, ...]] = [
        (
            f"{low / 60:.0f} min to " + ("the end" if high == math.inf else f"{high / 60:.0f} min"),
            *_row([one for one in found if low <= one.age_s < high]),
        )
        for low, high in AGES_S
    ]  # fmt: skip
    show(
        f"Ten minutes ahead at the present load, {joints} random joints over three hours each, by "
        "how long they were known",
        (
            "known for", "asked", "made", "error p50 °C", "p95", "p99", "within ±3 °C",
            "peak within ±3 °C", "half of the interval p50 °C", "90 % intervals cover",
        ),
        [*rows, ("all", *_row(found))],
        f"Goals: the peak within ±{WITHIN_C:g} °C in {GOAL_WITHIN:.0%}, intervals that cover "
        f"{GOAL_COVERED[0]:.0%} to {GOAL_COVERED[1]:.0%} (SURE = {SURE}).",
    )  # fmt: skip
    return missed([one for one in found if one.made])


def missed(made: list[Forecast], margin: float = 0.0) -> list[str]:
    """Which goals these forecasts miss by more than a margin (a share)."""
    within = _share(made, lambda one: abs(one.peak_error_c) <= WITHIN_C)
    covered = _share(made, lambda one: one.covered)
    told = []
    if within < GOAL_WITHIN - margin:
        told.append(f"the peak is within ±{WITHIN_C:g} °C in {within:.1%} only")
    if not GOAL_COVERED[0] - margin <= covered <= GOAL_COVERED[1] + margin:
        told.append(f"90 % intervals cover {covered:.1%}")
    return told


def _share(some: list[Forecast], what: Callable[[Forecast], bool]) -> float:
    return sum(map(what, some)) / len(some) if some else math.nan


def _row(some: list[Forecast]) -> tuple[object, ...]:
    made = [one for one in some if one.made]
    errors = [abs(one.error_c) for one in made]
    return (
        len(some),
        share(_share(some, lambda one: one.made)),
        *(f"{percentile(errors, p):.2f}" for p in (50, 95, 99)),
        share(_share(made, lambda one: abs(one.error_c) <= WITHIN_C)),
        share(_share(made, lambda one: abs(one.peak_error_c) <= WITHIN_C)),
        f"{percentile([one.half_width_c for one in made], 50):.2f}",
        share(_share(made, lambda one: one.covered)),
    )
