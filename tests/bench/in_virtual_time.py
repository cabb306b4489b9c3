"""Starts in virtual time: the same core and joints, many worlds, each with a seed of its own."""

import multiprocessing
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from random import Random

from coordinator.cli.software_joints import joint_settings
from coordinator.core import events as ev
from coordinator.core.homing import HomingState
from coordinator.core.run import Phase
from coordinator.motion import plan_parts
from coordinator.programs import parse_program
from coordinator.rehearsal.world import BEGIN_US, World
from protocol.constants import US
from simulator.unit import JointUnit
from tests.bench import baselines
from tests.bench.arms import arm, step_program
from tests.bench.figures import Progress
from tests.bench.starts import Began, Starts

STARTS_EACH = 4
"""Per world just after homing, and as many again after the rest."""
REST_US = 120 * US
"""By then a joint's rate is fitted over all the time that is kept, and its link's figures are those
of exchanges at 5 Hz."""
PATIENCE_US = 300 * US
REACTION_US = 1 * US
"""Between a hold, or a refusal, and the operator's next try."""
PAUSE_US = 3 * US
"""At most, between one run and the next, so that starts meet bursts of loss by chance."""


@dataclass(frozen=True, slots=True)
class Case:
    """One world to be."""

    network: str
    joints: int
    seed: int


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
    def spread_us(self) -> list[float]:
        """True spreads of all starts."""
        return self.homed.spread_us + self.rested.spread_us

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
    networks: Sequence[str], joints: int, worlds: int, seed: int, processes: int
) -> dict[str, Found]:
    """So many worlds per network, shared out over processes."""
    cases = [Case(network, joints, seed + k) for k in range(worlds) for network in networks]
    found = {network: Found() for network in networks}
    progress = Progress("worlds in virtual time", len(cases))
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        for network, one in pool.imap_unordered(one_world, cases):
            found[network].add(one)
            progress.step()
    return found


def one_world(case: Case) -> tuple[str, Found]:
    """Home an arm and start it some times; give the baselines on links of the same kind, too."""
    found = Found()
    began_s = time.process_time()
    operator = _Operator(case)
    operator.home()
    random = Random(f"pauses {case.seed}")
    for starts, rest_us in ((found.homed, 0), (found.rested, REST_US)):
        operator.wait(rest_us)
        for _ in range(STARTS_EACH):
            operator.wait(random.randrange(PAUSE_US))
            operator.play(starts, found)
    found.cpu_s = time.process_time() - began_s
    found.simulated_s = (operator.world.now - BEGIN_US) / US
    for ways, spreads_us in (
        (found.go_now_us, baselines.go_now_us),
        (found.sntp_us, baselines.sntp_us),
    ):
        ways += spreads_us(case.network, case.joints, case.seed, 2 * STARTS_EACH)
    return case.network, found


class _Operator:
    """Homes an arm and plays on it, whatever it takes. Raises TimeoutError when it takes long."""

    def __init__(self, case: Case) -> None:
        self._arm = arm(case.joints)
        self._where = f"{case.network}, {case.joints} joints, seed {case.seed}"
        units = [
            JointUnit(settings, bytes(32), float(BEGIN_US))
            for settings in joint_settings(self._arm, case.seed)
        ]
        self.world = World(self._arm, units, case.network, case.seed)

    def wait(self, time_us: int) -> None:
        """Let time pass."""
        self.world.run_for(time_us)

    def home(self) -> None:
        """Wait for all links, then home until it is done."""
        links = self.world.core.links
        self._until(
            lambda: all(link.up and link.quality.measured and link.clock.locked for link in links),
            "all joints linked and measured",
        )
        while not self._homed():
            self.wait(REACTION_US)

    def play(self, starts: Starts, found: Found) -> None:
        """One short move to its end, resuming what is held, and what it showed."""
        world, notes = self.world, len(self.world.notes)

        def command() -> ev.Command:
            counts = world.core.start_counts()
            text = step_program(self._arm, self._arm.joints[0].to_degrees(counts[0]))
            program = parse_program(text, self._arm.words)
            return ev.Play("step", text, plan_parts(program, self._arm, counts))

        self._command(command)
        began_us, began_s = world.now, time.process_time()
        run = world.core.run
        assert run is not None
        while run.phase is not Phase.ENDED:
            self._until(lambda: run.phase in (Phase.ENDED, Phase.HELD), "the run held or ended")
            if run.phase is Phase.HELD:
                self.wait(REACTION_US)
                self._resume()
        found.moving_s += (world.now - began_us) / US
        found.moving_cpu_s += time.process_time() - began_s
        refused = sum(note.code == "start-refused" for note in world.notes[notes:])
        starts.take(run.report.to_json(), refused, self._began(), self._where)

    def _homed(self) -> bool:
        self._command(ev.Home)
        homing = self.world.core.homing
        assert homing is not None
        self._until(lambda: homing.state is not HomingState.RUNNING, "homing")
        return homing.state is HomingState.DONE

    def _began(self) -> list[Began]:
        """Starts and resumes since the last call, in arm time, which is true time here."""
        return [
            (unit.settings.name, truth.at_ns / 1000)
            for unit in self.world.units
            for truth in unit.take_truth()
            if truth.event in ("start", "resume")
        ]

    def _command(self, command: Callable[[], ev.Command]) -> None:
        """Command, trying again while the arm refuses, as after an outage."""
        end_us = self.world.now + PATIENCE_US
        while True:
            try:
                self.world.command(command())
            except ev.Refused as refused:
                if self.world.now > end_us:
                    raise TimeoutError(f"{self._where}: {refused.message}") from refused
                self.wait(REACTION_US)
            else:
                return

    def _resume(self) -> None:
        try:
            self.world.command(ev.Resume())
        except ev.Refused:
            self.wait(REACTION_US)

    def _until(self, condition: Callable[[], bool], what: str) -> None:
        if not self.world.run_until(condition, PATIENCE_US):
            raise TimeoutError(f"{self._where}: {what}: not within {PATIENCE_US // US} s")
