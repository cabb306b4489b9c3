"""The long run: `make campaign`, with SEED=… to replay one scenario, SCENARIOS=… for how many.

JOINTS=c plays it on joints in C, JOINTS=mixed with every second one in C. CLUSTER=… is the
scheduler of a cluster that does the work; its workers run in this tree.
"""

import os
import sys
import time
from collections import Counter
from collections.abc import Iterable, Iterator
from concurrent.futures import BrokenExecutor, Executor
from dataclasses import dataclass, field
from functools import partial
from itertools import islice
from pathlib import Path

from rich.console import Console
from rich.progress import track
from rich.table import Table

from coordinator import compiled
from coordinator.cli.watch import Interrupts
from coordinator.workers.cluster import cluster
from coordinator.workers.processes import process_pool
from coordinator.workers.spread import spread
from tests.bench.figures import percentile
from tests.campaign.happenings import CALM
from tests.campaign.invariants.since_start import Apart
from tests.campaign.joints_in_c.library import library
from tests.campaign.judge import Violated
from tests.campaign.lanes import Lanes
from tests.campaign.play import CRASH, Outcome, play, play_seed, scenario_of
from tests.campaign.scenario import JOINTS_IN, Scenario
from tests.campaign.shrink import shrink

SCENARIOS = 2_000
PICTURES = Path("build/campaign")
FAILURES_SHOWN = 5
TOLD_EVERY = 500
"""Scenarios between two lines of progress in a log."""
LEVEL_MS = 0.001
"""Joints stand at whole µs of path time."""
WHICH = {"python": "joints in Python", "c": "joints in C", "mixed": "joints in Python and C"}
console = Console()


@dataclass(slots=True)
class Totals:
    """What many scenarios came to."""

    scenarios: int = 0
    struck: Counter[str] = field(default_factory=Counter)
    refused: Counter[str] = field(default_factory=Counter)
    hits: Counter[str] = field(default_factory=Counter)
    virtual_us: int = 0
    guarantees: int = 0
    starts: int = 0
    partial_starts: int = 0
    rests: list[Apart] = field(default_factory=list)
    first_failed: list[tuple[str, int, str]] = field(default_factory=list)
    """Network, seed and what became of a first play after all faults that did not succeed."""
    failures: list[tuple[int, str]] = field(default_factory=list)

    def add(self, seed: int, outcome: Outcome) -> None:
        """Take one scenario in."""
        self.scenarios += 1
        self.struck.update(outcome.struck)
        self.refused.update(outcome.refused)
        self.hits.update(outcome.hits)
        self.virtual_us += outcome.virtual_us
        self.guarantees += outcome.guarantees
        self.starts += outcome.starts
        self.partial_starts += outcome.partial_starts
        self.rests += outcome.rests
        if outcome.first_failed:
            self.first_failed.append((outcome.network, seed, outcome.first_failed))
        if outcome.violation is not None:
            self.failures.append((seed, str(outcome.violation)))


def picture(scenario: Scenario, path: Path) -> str:
    """Draw what happens in a scenario; gives the sentence of its violation, if any."""
    lanes = Lanes()
    outcome = play(scenario, lanes)
    sentence = str(outcome.violation or "no violation")
    now = lanes.world.now
    path.parent.mkdir(parents=True, exist_ok=True)
    from_us = max(0, now - 12_000_000) if outcome.violation else 0
    path.write_text(lanes.svg(scenario, sentence, from_us, now))
    return sentence


def report(totals: Totals, cpu_s: float, joints_in: str) -> None:
    """Print what struck, and what was found."""
    title = f"{totals.scenarios} scenarios on {WHICH[joints_in]}"
    table = Table("what", "times", title=title)
    for name, count in sorted(totals.struck.items()):
        table.add_row(name, str(count))
    for name, count in sorted(totals.hits.items()):
        table.add_row(f"datagrams hit by {name}", str(count))
    console.print(table)
    console.print(
        f"{totals.virtual_us / 3.6e9:.1f} h of virtual time in {cpu_s:.0f} s of processor time; "
        f"{totals.guarantees} guarantees held against the truth; {totals.starts} starts, "
        f"{totals.partial_starts} partial"
    )
    console.print(
        f"{totals.scenarios / cpu_s:.2f} scenarios a second of processor time on "
        f"{WHICH[joints_in]}, {'compiled' if compiled.is_built() else 'from source'}"
    )
    console.print(_rests(totals.rests))
    for network, count in sorted(Counter(one[0] for one in totals.first_failed).items()):
        console.print(f"first plays after all faults that failed on a {network} network: {count}")
    for network, seed, sentence in sorted(totals.first_failed):
        if network == CALM:
            console.print(f"{named(seed, joints_in)} {sentence}", highlight=False)
    console.print(f"violations: {len(totals.failures)}")


def _rests(rests: list[Apart]) -> Table:
    """How far apart joints truly stood, by network and by what brought them to rest."""
    table = Table(
        "network", "came to rest by", "rests", "level", "p50", "p95", "max", "allowed",
        title="true distances at rest, ms of path time",
    )  # fmt: skip
    for network, kind in sorted({(one.network, one.kind) for one in rests}):
        these = [one for one in rests if (one.network, one.kind) == (network, kind)]
        apart_ms = [one.us / 1e3 for one in these]
        allowed_ms = sorted({one.allowed_us / 1e3 for one in these})
        table.add_row(
            network,
            kind,
            str(len(these)),
            f"{sum(one <= LEVEL_MS for one in apart_ms) / len(these):.0%}",
            *(f"{percentile(apart_ms, per_cent):.1f}" for per_cent in (50, 95, 100)),
            " to ".join(f"{ms:.1f}" for ms in dict.fromkeys((allowed_ms[0], allowed_ms[-1]))),
        )
    return table


def named(seed: int, joints_in: str) -> str:
    """What is to stand before `make campaign` so that it plays just this scenario."""
    return f"SEED={seed}" if joints_in == JOINTS_IN[0] else f"SEED={seed} JOINTS={joints_in}"


def explain(seed: int, sentence: str, joints_in: str = JOINTS_IN[0]) -> None:
    """Shrink a failure, print it, draw it."""
    name = named(seed, joints_in)
    console.print(f"[bold]{name}[/bold] {sentence}", highlight=False)
    if sentence.partition(" ")[0] == CRASH:
        console.print(f"{name} make campaign shows where it was raised", highlight=False)
        return
    small, outcome = shrink(scenario_of(seed, joints_in), sentence.partition(" ")[0])
    path = PICTURES / f"seed-{seed}.svg"
    console.print(f"shrunk, {outcome.violation}; picture in {path}", highlight=False)
    picture(small, path)
    console.print(small.to_json(), highlight=False)


def replay(seed: int, joints_in: str) -> int:
    """One scenario again, with its picture."""
    path = PICTURES / f"seed-{seed}.svg"
    scenario = scenario_of(seed, joints_in)
    console.print(scenario.to_json(), highlight=False)
    sentence = picture(scenario, path)
    console.print(f"{sentence}; picture in {path}", highlight=False)
    if sentence == "no violation":
        return 0
    explain(seed, sentence, joints_in)
    return 1


def run_all(seeds: range, executor: Executor, joints_in: str) -> Totals:
    """Play scenarios wherever the executor does, until all are played or Ctrl-C is pressed, or one
    of them ends the process that plays it, as a fault in C may.
    """
    totals, left = Totals(), dict.fromkeys(seeds)

    def take(seed: int, outcome: Outcome) -> None:
        totals.add(seed, outcome)
        if outcome.violation is not None:
            console.print(f"{named(seed, joints_in)} {outcome.violation}", highlight=False)

    try:
        with Interrupts.counted() as pressed:
            results = spread(
                executor, partial(play_seed, joints_in=joints_in), seeds, lambda: pressed.count > 0
            )
            for seed, outcome in track(results, total=len(seeds), console=console):
                del left[seed]
                take(seed, outcome)
                if not console.is_terminal and totals.scenarios % TOLD_EVERY == 0:
                    print(f"{totals.scenarios} of {len(seeds)} scenarios", flush=True)  # noqa: T201
    except BrokenExecutor:
        for seed, outcome in _one_by_one(left, joints_in):
            take(seed, outcome)
    if totals.scenarios < len(seeds):
        console.print(f"interrupted after {totals.scenarios} of {len(seeds)} scenarios")
    return totals


def _one_by_one(seeds: Iterable[int], joints_in: str) -> Iterator[tuple[int, Outcome]]:
    """Play them in one process, up to the one that ends it: of many that are gone none says what
    it played.
    """
    with process_pool(1) as alone:
        for seed in seeds:
            try:
                _, outcome = alone.submit(play_seed, seed, joints_in).result()
            except BrokenExecutor:
                died = Violated(CRASH, "the process that played it died", 0)
                yield seed, Outcome(died, Counter(), Counter(), Counter(), 0)
                return
            yield seed, outcome


def main() -> int:
    """Run as the environment asks."""
    joints_in = os.environ.get("JOINTS") or JOINTS_IN[0]
    at = os.environ.get("CLUSTER")
    if joints_in not in JOINTS_IN:
        console.print(f"JOINTS={joints_in} is none of {', '.join(JOINTS_IN)}.")
        return 2
    if at and joints_in != JOINTS_IN[0]:
        console.print(f"JOINTS={joints_in} plays on this machine: leave CLUSTER out.")
        return 2
    if joints_in != JOINTS_IN[0]:
        library()  # built once, before many processes ask for it
    if os.environ.get("SEED"):
        return replay(int(os.environ["SEED"]), joints_in)
    count = int(os.environ.get("SCENARIOS") or SCENARIOS)
    first = int(os.environ.get("FIRST") or 1)
    before = time.process_time()
    with cluster(at) if at else process_pool() as executor:
        totals = run_all(range(first, first + count), executor, joints_in)
    times = os.times()
    report(
        totals,
        time.process_time() - before + times.children_user + times.children_system,
        joints_in,
    )
    for seed, sentence in islice(sorted(totals.failures), FAILURES_SHOWN):
        explain(seed, sentence, joints_in)
    return 1 if totals.failures or totals.scenarios < count else 0


if __name__ == "__main__":
    sys.exit(main())
