"""Long plays in virtual time: holds for nothing, and where the joints rest after an outage.

No outage comes by chance here, so that a hold without one is known to be false. Between scripted
outages the arm moves for some seconds; each takes one joint's link away for a while.
"""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from random import Random
from unittest.mock import patch

from coordinator.core.run import Phase
from coordinator.core.run.permit import PermitKeeper
from coordinator.core.run.report_snapshot import report_snapshot
from protocol.constants import US
from simulator.network import BOTH, PROFILES, Direction
from tests.as_json import as_json
from tests.bench.arms import NEAR_DEG
from tests.bench.in_virtual_time import shared_out
from tests.bench.starts import Began, Starts
from tests.bench.virtual_arm import VirtualArm, began

WAYS: dict[str, Sequence[Direction]] = {
    "both ways": BOTH,
    "to the joint": ("forward",),
    "from the joint": ("back",),
}
OUTAGES_EACH = 10
"""Per world."""
MINUTES_EACH = 5
"""Of motion without any outage, per world."""
LENGTH_US = (500_000, 2_000_000)
BEFORE_US = (3_000_000, 6_000_000)
"""Motion before an outage: what is short of it after a start has its own bound (two windows)."""
AFTER_US = 1_500_000
"""Longer than a hold can take to begin, once the link is back."""
SAME_US = 1.0
"""Rounding."""
FAR_DEG = 60.0
MOVES = 120
"""Of one play, there and back, 1.6 s each."""


@dataclass(frozen=True, slots=True)
class Case:
    """One world to be. Without a way for outages it moves for some minutes."""

    network: str
    joints: int
    seed: int
    way: str = ""
    levelling: bool = True


@dataclass(slots=True)
class Held:
    """What long plays showed."""

    apart_us: list[float] = field(default_factory=list)
    """Of each outage that ended in a hold: how far apart the joints' true path times were."""
    ridden: int = 0
    """Outages during which the arm moved on."""
    false_holds: int = 0
    moving_s: float = 0.0
    """In motion without an outage."""
    starts: Starts = field(default_factory=Starts)
    """Starts and resumes, none of them in an outage."""

    @property
    def same(self) -> int:
        """Holds after an outage with all joints at the same path time."""
        return sum(apart <= SAME_US for apart in self.apart_us)

    @property
    def same_share(self) -> float:
        """Their share of all holds after an outage."""
        return self.same / len(self.apart_us) if self.apart_us else float("nan")

    @property
    def false_holds_a_minute(self) -> float:
        """Of motion without an outage."""
        return 60 * self.false_holds / self.moving_s if self.moving_s else float("nan")

    def add(self, other: "Held") -> None:
        """Take in what another world showed."""
        self.apart_us += other.apart_us
        self.ridden += other.ridden
        self.false_holds += other.false_holds
        self.moving_s += other.moving_s
        self.starts.add(other.starts)


Key = tuple[str, str, bool]


def measure(cases: Sequence[Case], processes: int, what: str) -> dict[Key, Held]:
    """All worlds, by network, way and levelling."""
    found = {(case.network, case.way, case.levelling): Held() for case in cases}
    for case, one in shared_out(one_world, cases, processes, what):
        found[case.network, case.way, case.levelling].add(one)
    return found


def one_world(case: Case) -> Held:
    """Long plays, resumed after every hold, until there are enough outages or minutes."""
    profile = replace(PROFILES[case.network], outages_per_minute=0.0)
    play = _Play(VirtualArm(case.network, profile, case.joints, case.seed), case)
    with levelling(case.levelling):
        play.arm.home()
        while not play.enough:
            play.go()
    return play.found


class _Play:
    """One arm that moves for long."""

    def __init__(self, arm: VirtualArm, case: Case) -> None:
        self.arm = arm
        self.found = Held()
        self._ways = WAYS[case.way] if case.way else ()
        self._random = Random(f"outages {case.network} {case.way} {case.seed}")
        self._began: list[Began] = []

    @property
    def enough(self) -> bool:
        """Whether this world has shown what it was made for."""
        found = self.found
        if self._ways:
            return len(found.apart_us) + found.ridden >= OUTAGES_EACH
        return found.moving_s >= MINUTES_EACH * 60

    def go(self) -> None:
        """One play, to its end or until it is enough."""
        arm = self.arm
        notes = len(arm.world.notes)
        run = arm.begin(lambda _: [NEAR_DEG, NEAR_DEG + FAR_DEG] * (MOVES // 2))
        while run.phase is not Phase.ENDED and not self.enough:
            arm.until_phase(Phase.MOVING, Phase.HELD, Phase.ENDED)
            arm.go_on()
            if run.phase is Phase.MOVING and self._moves_on() and self._ways:
                self._strike()
        self._rested_us()
        refused = sum(note.code == "start-refused" for note in arm.world.notes[notes:])
        self.found.starts.take(
            as_json(report_snapshot(run.report)), refused, self._began, arm.where
        )
        self._began.clear()

    def _moves_on(self) -> bool:
        """Move for some seconds without an outage; whether it still moves then."""
        world, run, began_us = self.arm.world, self.arm.run, self.arm.world.now
        world.run_until(lambda: run.phase is not Phase.MOVING, self._random.randrange(*BEFORE_US))
        self.found.moving_s += (world.now - began_us) / US
        if run.phase in (Phase.HOLDING, Phase.HELD):
            self.found.false_holds += 1
        return run.phase is Phase.MOVING

    def _strike(self) -> None:
        """Take one joint's link away for a while, and see what comes of it."""
        arm, run, found = self.arm, self.arm.run, self.found
        name = self._random.choice(arm.arm.joints).name
        length_us = self._random.randrange(*LENGTH_US)
        self._rested_us()
        arm.world.cut(name, length_us, self._ways)
        arm.world.run_until(lambda: run.phase is Phase.ENDED, length_us + AFTER_US)
        arm.until(lambda: run.phase is not Phase.HOLDING, "the run held")
        if run.phase is Phase.MOVING:
            found.ridden += 1
        elif run.phase is Phase.HELD:
            rested_us = self._rested_us().values()
            found.apart_us.append(max(rested_us) - min(rested_us))

    def _rested_us(self) -> dict[str, float]:
        """Path time at which each joint has held since the last call."""
        happened = self.arm.happened()
        self._began += began(happened)
        return {name: truth.path_us for name, truth in happened if truth.event == "hold"}


@contextmanager
def levelling(on: bool) -> Iterator[None]:
    """Without it the joints keep what they were offered last."""
    if on:
        yield
        return

    def keep(keeper: PermitKeeper) -> None:
        keeper.fixed = True

    with patch.object(PermitKeeper, "level", keep):
        yield
