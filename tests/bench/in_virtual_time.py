"""Starts in virtual time: the same core and joints, many worlds, each with a seed of its own."""

import sys
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from random import Random
from typing import TypeVar

from coordinator.core.run import Phase
from coordinator.core.run.report_snapshot import report_snapshot
from coordinator.rehearsal.world import BEGIN_US
from coordinator.workers.processes import process_pool
from protocol.constants import US
from simulator.network import PROFILES
from tests.as_json import as_json
from tests.bench import baselines
from tests.bench.arms import next_deg
from tests.bench.figures import Progress
from tests.bench.starts import Starts
from tests.bench.virtual_arm import VirtualArm, began

REST_US = 120 * US
"""By then a joint's rate is fitted over all the time that is kept, and its link's figures are those
of exchanges at 5 Hz."""
PAUSE_US = 3 * US
"""At most, between one run and the next, so that starts meet bursts of loss by chance."""

_Case = TypeVar("_Case")
_Found = TypeVar("_Found")


@dataclass(frozen=True, slots=True)
class Case:
    """One world to be."""

    network: str
    joints: int
    seed: int
    starts_each: int
    """Just after homing, and as many again after the rest."""


@dataclass(slots=True)
class Found:
    """What worlds of one kind gave, and the naive ways beside it. Spreads in µs."""

    homed: Starts = field(default_factory=Starts)
    """Just after homing."""
    rested: Starts = field(default_factory=Starts)
    """After two minutes at rest."""
    go_now_us: list[float] = field(default_factory=list)
    sntp_us: list[float] = field(default_factory=list)
    simulated_s: float = 0.0
    cpu_s: float = 0.0
    moving_s: float = 0.0
    """Of the simulated time, that in which a run went on, with exchanges at 25 Hz."""
    moving_cpu_s: float = 0.0

    @property
    def every(self) -> Starts:
        """All starts."""
        starts = Starts()
        starts.add(self.homed)
        starts.add(self.rested)
        return starts

    def add(self, other: "Found") -> None:
        """Take in what another world gave."""
        self.homed.add(other.homed)
        self.rested.add(other.rested)
        self.go_now_us += other.go_now_us
        self.sntp_us += other.sntp_us
        self.simulated_s += other.simulated_s
        self.cpu_s += other.cpu_s
        self.moving_s += other.moving_s
        self.moving_cpu_s += other.moving_cpu_s


def measure(
    networks: Sequence[str],
    joints: int,
    worlds: int,
    starts_each: int,
    seed: int,
    processes: int,
) -> dict[str, Found]:
    """So many worlds per network, shared out over processes."""
    cases = [
        Case(network, joints, seed + k, starts_each) for k in range(worlds) for network in networks
    ]
    found = {network: Found() for network in networks}
    for case, one in shared_out(one_world, cases, processes, f"worlds of {joints} joints"):
        found[case.network].add(one)
    return found


def shared_out(
    work: Callable[[_Case], _Found], cases: Sequence[_Case], processes: int, what: str
) -> Iterable[tuple[_Case, _Found]]:
    """Each case with what came of it; in this process, and from source, if it is the only one.
    Ctrl-C ends it with what is known by then.
    """
    progress = Progress(what, len(cases))
    try:
        if processes == 1:
            for case in cases:
                yield case, work(case)
                progress.step()
            return
        with process_pool(processes) as pool:
            for case, found in zip(cases, pool.map(work, cases), strict=True):
                yield case, found
                progress.step()
    except KeyboardInterrupt:
        print(f"{what}: cut short", file=sys.stderr)


def one_world(case: Case) -> Found:
    """Home an arm and start it some times; give the baselines on links of the same kind, too."""
    found = Found()
    began_s = time.process_time()
    arm = VirtualArm(case.network, PROFILES[case.network], case.joints, case.seed)
    arm.home()
    random = Random(f"pauses {case.seed}")
    for starts, rest_us in ((found.homed, 0), (found.rested, REST_US)):
        arm.world.run_for(rest_us)
        for _ in range(case.starts_each):
            arm.world.run_for(random.randrange(PAUSE_US))
            play(arm, starts, found)
    found.cpu_s = time.process_time() - began_s
    found.simulated_s = (arm.world.now - BEGIN_US) / US
    for ways, start_skews_us in (
        (found.go_now_us, baselines.go_now_us),
        (found.sntp_us, baselines.sntp_us),
    ):
        ways += start_skews_us(case.network, case.joints, case.seed, 2 * case.starts_each)
    return found


def play(arm: VirtualArm, starts: Starts, found: Found) -> None:
    """One short move to its end, resuming what is held, and what it showed."""
    world, notes = arm.world, len(arm.world.notes)
    run = arm.begin(lambda at_deg: [next_deg(at_deg)])
    began_us, began_s = world.now, time.process_time()
    while run.phase is not Phase.ENDED:
        arm.until_phase(Phase.MOVING, Phase.HELD, Phase.ENDED)
        if run.phase is Phase.MOVING:
            arm.until_phase(Phase.HELD, Phase.ENDED)
        arm.go_on()
    found.moving_s += (world.now - began_us) / US
    found.moving_cpu_s += time.process_time() - began_s
    refused = sum(note.code == "start-refused" for note in world.notes[notes:])
    starts.take(as_json(report_snapshot(run.report)), refused, began(arm.happened()), arm.where)
