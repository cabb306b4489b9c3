"""How fast worlds go: from source and compiled, one after the other within the same minutes."""

import hashlib
import time
from collections.abc import Callable, Sequence
from concurrent.futures import Executor, ProcessPoolExecutor
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Final

from coordinator import compiled
from coordinator.config.arm import parse_arm
from coordinator.core.run import Phase
from coordinator.rehearsal.rehearse import play_once
from coordinator.rehearsal.software_joints import joint_settings
from coordinator.workers.processes import SPAWN, process_pool
from protocol.constants import US
from simulator.network import PROFILES
from tests.bench.virtual_arm import VirtualArm
from tests.campaign.play import play, scenario_of

NETWORK: Final = "home"
FAR_DEG: Final = (-150.0, -90.0)
MOVES: Final = 1_000
CAMPAIGN: Final = "campaign with all rules, scenarios"
CAMPAIGN_IN_C: Final = "the same on joints in C, scenarios"


@dataclass(frozen=True, slots=True)
class Sample:
    """What some worlds took, and a hash of what happened in them."""

    simulated_s: float
    cpu_s: float
    course: str

    @property
    def times_real_time(self) -> float:
        """Simulated time per processor time."""
        return self.simulated_s / self.cpu_s


def moving(size: int) -> Sample:
    """Six joints that move to and fro for so many seconds."""
    arm = VirtualArm(NETWORK, PROFILES[NETWORK], 6, 1)
    arm.home()
    run = arm.begin(lambda _at_deg: [FAR_DEG[k % 2] for k in range(MOVES)])
    arm.until_phase(Phase.MOVING)
    world, began_s = arm.world, time.process_time()
    begun_us = world.now
    while world.now < begun_us + size * US:
        if run.phase is Phase.HELD:
            arm.go_on()
        world.run_for(US)
    cpu_s = time.process_time() - began_s
    told = [*arm.happened(), *world.notes, *(link.status for link in world.core.links)]
    return Sample((world.now - begun_us) / US, cpu_s, _hash(told))


def campaign(size: int, joints_in: str = "python") -> Sample:
    """So many scenarios of the campaign, with all its rules."""
    seeds = range(1, size + 1)
    began_s, outcomes = time.process_time(), [play(scenario_of(seed, joints_in)) for seed in seeds]
    cpu_s = time.process_time() - began_s
    return Sample(sum(one.virtual_us for one in outcomes) / US, cpu_s, _hash(outcomes))


def campaign_in_c(size: int) -> Sample:
    """The same scenarios on joints in C."""
    return campaign(size, "c")


def rehearsal(size: int) -> Sample:
    """So many rehearsals of the demo's program."""
    demo = files("coordinator") / "demo"
    arm = parse_arm((demo / "arm.toml").read_text(encoding="utf-8"), Path("arm.toml"))
    text = (demo / "prick_out_tray.nc").read_text(encoding="utf-8")
    began_s = time.process_time()
    played = [
        play_once(arm, text, joint_settings(arm, seed), PROFILES[NETWORK], seed)
        for seed in range(1, size + 1)
    ]
    cpu_s = time.process_time() - began_s
    return Sample(sum(one.simulated_us for one in played) / US, cpu_s, _hash(played))


def _hash(what: Sequence[object]) -> str:
    return hashlib.sha256("\n".join(map(repr, what)).encode()).hexdigest()


WORK: Final[tuple[tuple[str, Callable[[int], Sample], int], ...]] = (
    (f"six joints moving, {NETWORK}, s", moving, 60),
    (CAMPAIGN, campaign, 20),
    (CAMPAIGN_IN_C, campaign_in_c, 20),
    (f"demo program, {NETWORK}, rehearsals", rehearsal, 2),
)


def table(rounds: int) -> list[str]:
    """Print how fast each kind of work goes; a sentence for each whose course was not the same."""
    print(f"\nSpeed, times real time on one core; the best of {rounds} rounds")
    row = "{:<36} {:>6} {:>8} {:>9} {:>6} {:>6}"
    print(row.format("work", "size", "source", "compiled", "ratio", "same"))
    if not compiled.is_built():
        print(compiled.hint())
        return []
    broken, a_second = [], {}
    with ProcessPoolExecutor(1, SPAWN) as source, process_pool(1) as built:
        for what, work, size in WORK:
            slow, fast = _alternately(work, size, rounds, source, built)
            same = len({one.course for one in (*slow, *fast)}) == 1
            before, after = (max(one.times_real_time for one in kind) for kind in (slow, fast))
            ratio = f"{after / before:.1f}"
            print(row.format(what, size, f"{before:.0f}", f"{after:.0f}", ratio, str(same)))
            a_second[what] = size / min(one.cpu_s for one in fast)
            if not same:
                broken.append(f"{what}: compiled it goes another way than from source")
    on_c, on_python = a_second[CAMPAIGN_IN_C], a_second[CAMPAIGN]
    print(
        f"Compiled, {on_c:.1f} scenarios a second on joints in C, {on_python:.1f} on joints in "
        f"Python: {on_c / on_python:.2f} times as fast"
    )
    return broken


def _alternately(
    work: Callable[[int], Sample], size: int, rounds: int, source: Executor, built: Executor
) -> tuple[list[Sample], list[Sample]]:
    slow, fast = [], []
    for _ in range(rounds):
        slow.append(source.submit(work, size).result())
        fast.append(built.submit(work, size).result())
    return slow, fast
