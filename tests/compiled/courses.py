"""Worlds whose whole course is told by hashes: to be played from source and compiled, and compared.

Run as a program in a process of its own: `python -m tests.compiled.courses source|compiled`.
"""

import hashlib
import json
import sys
from collections.abc import Callable
from typing import Final

from coordinator import compiled

if __name__ == "__main__" and sys.argv[1] == "compiled":
    compiled.use()

import protocol.drive
from coordinator.core import events as ev
from coordinator.core.homing import HomingState
from coordinator.core.run import Phase
from coordinator.motion import plan_parts
from coordinator.programs import parse_program
from coordinator.rehearsal.faulty_link import Trouble
from coordinator.rehearsal.schedule import Schedule
from coordinator.rehearsal.world import BEGIN_US, World
from protocol.constants import US
from simulator.network import BOTH, Direction
from simulator.unit import WorldTruth
from tests.campaign.invariants import ALWAYS
from tests.campaign.invariants.base import Invariant
from tests.campaign.judge import Judge
from tests.campaign.play import play, scenario_of
from tests.campaign.scenario import KEY, Scenario, make_arm, make_units
from tests.onlooker import Onlooker

SEEDS: Final = range(1, 21)
"""Of the campaign's scenarios; among them are all ways to begin, by values and by bytes."""
SEEDS_IN_C: Final = {"c": range(1, 6), "mixed": range(101, 104)}
"""By JOINTS. What surrounds these joints goes the same way compiled; they are C in both."""
ARM: Final = Scenario(7, 3, 7, "busy", (), ())
PROGRAM: Final = "G90 G94\nG1 A20 B-15 C10 F1500\nM0\nG1 A-20 B15 C-10 F1500\nM2"


class Tap(Onlooker):
    """Everything that comes to either end, with its instant and its way."""

    def __init__(self) -> None:
        self.schedule: Schedule | None = None
        """Of the world that it looks at, once that is made."""
        self.hash = hashlib.sha256()
        self.messages = 0

    def carried(self, joint_id: str, way: Direction, message: object) -> None:
        assert self.schedule is not None
        # What a value shows of itself says whether a number is whole, too.
        self.hash.update(f"{self.schedule.now} {joint_id} {way} {message!r}\n".encode())
        self.messages += 1


class Seen(Invariant):
    """A rule that nothing breaks: it takes down what a scenario's judge is told of motion."""

    name = "seen"
    all: Final = hashlib.sha256()

    def __init__(self, judge: Judge) -> None:
        super().__init__(judge)
        self.told: list[str] = []

    def truth(self, node: object, truth: WorldTruth) -> None:
        self.told.append(f"{self.world.now} {truth!r}")

    def at_end(self) -> None:
        for laptop in self.world.laptops:
            self.told += map(repr, laptop.notes)
        self.all.update("\n".join(self.told).encode())


def main(kind: str) -> None:
    """Play all, and print by name what came of each."""
    told = {
        "is compiled": str(protocol.drive.__file__).endswith(compiled.SUFFIX),
        "by values": story(None),
        "by bytes": story(KEY),
        "campaign": [campaign(seed) for seed in SEEDS],
        "campaign in C": [
            campaign(seed, joints_in) for joints_in, seeds in SEEDS_IN_C.items() for seed in seeds
        ],
    }
    sys.stdout.write(json.dumps(told))


def campaign(seed: int, joints_in: str = "python") -> str:
    """One scenario of the campaign, with all its rules and what they were told."""
    outcome = play(scenario_of(seed, joints_in), kinds=(*ALWAYS, Seen))
    return f"{outcome.violation} {outcome!r} {Seen.all.hexdigest()}"


def story(key: bytes | None) -> dict[str, str]:
    """A play with bad links, a hold, an outage, a restart, a stop and a crash."""
    tap, arm = Tap(), make_arm(ARM)
    world = World(arm, make_units(ARM, arm, BEGIN_US), "busy", 7, key=key, observer=tap)
    tap.schedule = world.schedule
    names = [joint.name for joint in arm.joints]
    refused: list[str] = []

    def ask(command: Callable[[], ev.Command]) -> None:
        for _ in range(60):
            try:
                world.command(command())
            except ev.Refused as no:
                refused.append(f"{world.now} {no.code} {no}")
                world.run_for(US)
            else:
                return

    def until(*phases: Phase) -> None:
        world.run_until(lambda: world.core.run is None or world.core.run.phase in phases, 60 * US)

    def begin() -> ev.Command:
        return ev.Play(
            "story",
            PROGRAM,
            plan_parts(parse_program(PROGRAM, arm.letters), arm, world.core.start_counts()),
        )

    world.run_for(10 * US)
    ask(ev.Home)
    homing = world.core.homing
    assert homing is not None
    world.run_until(lambda: homing.state is not HomingState.RUNNING, 200 * US)
    for faulty_link in world.laptop.faulty_links.values():
        for kind in (Trouble.DUPLICATE, Trouble.REORDER, Trouble.LOSS, Trouble.CORRUPT):
            faulty_link.trouble(kind, 0.1, world.now, world.now + 8 * US, BOTH)
    ask(begin)
    until(Phase.MOVING, Phase.ENDED)
    ask(lambda: ev.Override(600_000))
    world.run_for(300_000)
    ask(ev.Hold)
    until(Phase.HELD, Phase.ENDED)
    ask(ev.Resume)
    until(Phase.PAUSED, Phase.HELD, Phase.ENDED)
    ask(ev.Resume)
    until(Phase.MOVING, Phase.ENDED)
    world.cut(names[1], 2 * US)
    world.run_for(5 * US)
    world.kill_joint(names[0])
    world.restart_joint(names[0])
    world.run_for(3 * US)
    ask(ev.Stop)
    world.laptop.sleep(2 * US)
    world.run_for(10 * US)
    reports = list(map(repr, world.core.reports.values()))
    world.kill_coordinator()
    world.start_coordinator()
    world.run_for(10 * US)
    truths = [truth for unit in world.units for truth in unit.take_truth()]
    return {
        "messages": f"{tap.messages} {tap.hash.hexdigest()}",
        "notes": "\n".join(map(repr, world.notes)),
        "refused": "\n".join(refused),
        "truths": "\n".join(map(repr, truths)),
        "reports": "\n".join(reports),
        "random": str(world.random.getrandbits(64)),
    }


if __name__ == "__main__":
    main(sys.argv[1])
