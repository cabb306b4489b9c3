"""What many rehearsals of one program say together. `dataclasses.asdict` makes it fit for JSON."""

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from coordinator.rehearsal.played import Played
from protocol.constants import US

CONFIDENCE: Final = 0.95
HALVINGS: Final = 60
"""Of the interval 0 to 1: to the last digits of a float."""


@dataclass(frozen=True, slots=True)
class Quantiles:
    """Of so many values, by nearest rank: each is a value that occurred."""

    count: int
    least: float
    p01: float
    p50: float
    p99: float
    most: float


@dataclass(frozen=True, slots=True)
class Share:
    """How often something happened."""

    count: int
    of: int
    at_most: float
    """Upper limit of the true share, with 95 % confidence."""


@dataclass(frozen=True, slots=True)
class Summary:
    """All rehearsals together. Times in µs; None where nothing was seen."""

    rehearsals: int
    outcomes: dict[str, int]
    reasons: dict[str, int]
    """Why some did not finish."""
    wait_us: Quantiles | None
    """From the command to the first joint's start."""
    duration_us: Quantiles | None
    """From there to the last joint's end, of those that finished."""
    start_skew_us: Quantiles | None
    """True time from the first joint's start to the last one's."""
    start_skew_max_us: Quantiles | None
    """What the run's report would prove the start skew to be at most."""
    start_margin_us: dict[str, Quantiles]
    """By joint; the smaller, the nearer it was to not starting."""
    off_us: dict[str, Quantiles]
    """By joint: how far its true starts lay from the instants asked for, whichever way."""
    start_delay_us: Quantiles | None
    not_at_once: Share
    """Starts and resumes that did not succeed at the first attempt, whatever became of them."""
    retried: Share
    """Starts of all joints, but at a later attempt."""
    partial: Share
    """Starts in which some joints began alone, for their first permit, and held."""
    refused: Share
    """Starts that were given up."""
    holds: int
    """In mid-motion, not those that follow a failed start."""
    holds_per_run: float
    holds_per_minute: float | None
    """Of the time from the first start to the end."""
    hold_causes: dict[str, int]
    apart_us: int | None
    """Largest difference of path time between joints that hold."""
    buffer_margin_us: dict[str, int]
    """Smallest, by joint. Empty where no points were sent while the arm moved."""
    lowest_supply_v: dict[str, float]
    """Lowest true volts, by joint."""
    simulated_us: int


def _not_whole(run: Played) -> int:
    """Confirmed starts that not every joint truly made."""
    return sum(start.start_skew_us is None for start in run.starts)


def start_skews_us(played: Iterable[Played]) -> list[float]:
    """True start skews of all starts that every joint made."""
    return [s.start_skew_us for run in played for s in run.starts if s.start_skew_us is not None]


def summarise(played: Iterable[Played]) -> Summary:
    """Rehearsals of one program together."""
    runs = list(played)
    starts = [start for run in runs for start in run.starts]
    whole = [start for start in starts if start.start_skew_us is not None]
    at_once = sum(start.attempts == 1 for start in whole)
    # A start that was confirmed and that not all made is among those that a run itself counted.
    partial = sum(max(run.partial_starts, _not_whole(run)) for run in runs)
    refused = sum(run.refused_starts for run in runs)
    asked = len(whole) + partial + refused
    holds = [hold for run in runs for hold in run.holds]
    moved_us = sum(run.motion_us or 0 for run in runs)
    fed = dict.fromkeys(name for run in runs for name in run.buffer_margin_us)
    supplied = dict.fromkeys(name for run in runs for name in run.lowest_supply_v)
    done = [run for run in runs if run.outcome == "finished"]
    return Summary(
        rehearsals=len(runs),
        outcomes=_counted(run.outcome for run in runs),
        reasons=_counted(run.message for run in runs if run.outcome != "finished" and run.message),
        wait_us=quantiles([run.wait_us for run in runs if run.wait_us is not None]),
        duration_us=quantiles([run.motion_us for run in done if run.motion_us is not None]),
        start_skew_us=quantiles(start_skews_us(runs)),
        start_skew_max_us=quantiles(
            [start.start_skew_max_us for start in starts if start.start_skew_max_us is not None]
        ),
        start_margin_us=_by_joint([start.start_margin_us for start in starts]),
        off_us=_by_joint([{n: abs(off) for n, off in start.off_us.items()} for start in starts]),
        start_delay_us=quantiles([start.start_delay_us for start in starts]),
        not_at_once=share(asked - at_once, asked),
        retried=share(len(whole) - at_once, asked),
        partial=share(partial, asked),
        refused=share(refused, asked),
        holds=len(holds),
        holds_per_run=len(holds) / len(runs) if runs else 0.0,
        holds_per_minute=len(holds) * 60 * US / moved_us if moved_us else None,
        hold_causes=_counted(hold.cause for hold in holds),
        apart_us=max((hold.apart_us for hold in holds), default=None),
        buffer_margin_us={
            name: min(run.buffer_margin_us[name] for run in runs if name in run.buffer_margin_us)
            for name in fed
        },
        lowest_supply_v={
            name: min(run.lowest_supply_v[name] for run in runs if name in run.lowest_supply_v)
            for name in supplied
        },
        simulated_us=sum(run.simulated_us for run in runs),
    )


def quantiles(values: Sequence[float]) -> Quantiles | None:
    """The quantiles of values, None of none."""
    if not values:
        return None
    ordered = sorted(values)

    def rank(percent: int) -> float:
        # In integers: 0.99 · 100 is a little more than 99 as a float, and its ceiling 100.
        return ordered[-(-len(ordered) * percent // 100) - 1]

    return Quantiles(len(ordered), ordered[0], rank(1), rank(50), rank(99), ordered[-1])


def _by_joint(found: Sequence[Mapping[str, float]]) -> dict[str, Quantiles]:
    """Quantiles of what was found of each joint, in the order in which joints occur."""
    gathered: dict[str, list[float]] = {}
    for values in found:
        for name, value in values.items():
            gathered.setdefault(name, []).append(value)
    return {name: seen for name, values in gathered.items() if (seen := quantiles(values))}


def share(count: int, of: int) -> Share:
    """A share with its upper limit by Clopper and Pearson (Biometrika 1934, from memory).

    The limit is the share at which so few would be seen in one case of twenty; for 0 seen it is
    1 − 0.05^(1/n).
    """
    low, high = 0.0, 1.0
    if count < of:
        for _ in range(HALVINGS):
            middle = 0.5 * (low + high)
            if _chance_of_at_most(count, of, middle) > 1.0 - CONFIDENCE:
                low = middle
            else:
                high = middle
    return Share(count, of, high)


def _chance_of_at_most(count: int, of: int, probability: float) -> float:
    """Binomial distribution, by logarithms, so that nothing overflows."""
    yes, no = math.log(probability), math.log1p(-probability)
    return math.fsum(
        math.exp(math.log(math.comb(of, k)) + k * yes + (of - k) * no) for k in range(count + 1)
    )


def _counted(words: Iterable[str]) -> dict[str, int]:
    """How often each occurs, the most frequent first."""
    return dict(Counter(words).most_common())
