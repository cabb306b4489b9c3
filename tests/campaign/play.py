"""Plays one scenario through under the eyes of all invariants."""

from collections import Counter
from dataclasses import dataclass, field, replace

from coordinator.core.run import Phase
from coordinator.rehearsal.joint_node import Node
from coordinator.rehearsal.world import BEGIN_US, World
from protocol.constants import US
from protocol.states import AT_REST
from tests.campaign.generate import generate
from tests.campaign.happenings import Happenings
from tests.campaign.invariants import ALWAYS
from tests.campaign.invariants.base import Invariant
from tests.campaign.invariants.i03_apart import RestTogether
from tests.campaign.invariants.i04_together import Together
from tests.campaign.invariants.since_start import Apart
from tests.campaign.judge import Judge, Violated
from tests.campaign.lanes import Lanes
from tests.campaign.operator import Operator
from tests.campaign.scenario import Scenario
from tests.campaign.stage import stage_of
from tests.campaign.truth import state_of

CALM_US = 12 * US
"""After the last happening: joints connect again within 2 s, a foreign session ends after 5 s."""
TOLD_US = 5 * US
"""Once all joints rest, a run must know of it: many sends on the worst link."""
CRASH = "crash"
PLAY_WITHIN_US = 90 * US
PLAY_WITHIN_PER_JOINT_US = 10 * US
"""The stated time of I12: for homing one joint after another, and a play of some seconds."""


@dataclass(slots=True)
class Outcome:
    """What came of a scenario."""

    violation: Violated | None
    struck: Counter[str]
    refused: Counter[str]
    hits: Counter[str]
    """Datagrams that trouble of the links really hit."""
    virtual_us: int
    guarantees: int = 0
    """How often a true offset was compared with its guarantee."""
    spreads: list[tuple[int, int]] = field(default_factory=list)
    rests: list[Apart] = field(default_factory=list)
    """How far apart joints truly came to rest."""
    first_failed: str = ""
    """What became of the first play after the faults, where it did not simply finish."""
    network: str = ""
    """On which that play was."""
    partial_starts: int = 0
    starts: int = 0


def play(
    scenario: Scenario,
    lanes: Lanes | None = None,
    kinds: tuple[type[Invariant], ...] = ALWAYS,
    *,
    liveness: bool = True,
) -> Outcome:
    """Play a scenario: safety while faults strike, then whether a play succeeds (I12)."""
    try:
        stage = stage_of(scenario, kinds, lanes)
    except Violated as violated:
        return Outcome(violated, Counter(), Counter(), Counter(), violated.at_us - BEGIN_US)
    world, judge = stage.world, stage.judge
    begun_us = world.now
    happenings = Happenings(scenario, world, judge)
    operator = Operator(world, happenings)
    violation: Violated | None = None
    try:
        _live(scenario, world, happenings, operator)
        if liveness:
            stated_us = PLAY_WITHIN_US + scenario.joints * PLAY_WITHIN_PER_JOINT_US
            failure = operator.play_through(stated_us)
            if failure is not None:
                raise Violated("I12", failure, world.now)
        for one in judge.invariants:
            one.at_end()
    except Violated as violated:
        violation = violated
    outcome = _outcome(world, judge, happenings, violation, begun_us)
    outcome.first_failed, outcome.network = operator.first_failed, judge.network
    return outcome


def played(scenario: Scenario) -> Outcome:
    """The same; what raises is told as the violation `crash`: thousands of others are still to be
    played.
    """
    try:
        return play(scenario)
    except Exception as error:  # noqa: BLE001 - whatever it is, of the core or of a rule
        crash = Violated(CRASH, f"{type(error).__name__}: {error}", 0)
        return Outcome(crash, Counter(), Counter(), Counter(), 0)


def play_seed(seed: int, joints_in: str = "python") -> tuple[int, Outcome]:
    """The scenario of a seed, wherever it is played."""
    return seed, played(scenario_of(seed, joints_in))


def scenario_of(seed: int, joints_in: str) -> Scenario:
    """The scenario of a seed with its joints in one of JOINTS_IN."""
    return replace(generate(seed), joints_in=joints_in)


def _live(scenario: Scenario, world: World, happenings: Happenings, operator: Operator) -> None:
    """From the beginning until the faults are over."""
    end_us = happenings.schedule(world.now)
    if scenario.from_begin:
        operator.bring_up()
    happenings.play()
    world.run_for(max(0, end_us - world.now))

    def over() -> bool:
        run = world.core.run
        return run is None or run.phase in (Phase.ENDED, Phase.HELD, Phase.PAUSED)

    world.run_until(over, CALM_US)
    happenings.mend()
    world.run_until(lambda: not _under_way(world) and operator.all_there(), CALM_US)
    if not world.run_until(lambda: not _rests_under_way(world), TOLD_US):
        run = world.core.run
        assert run is not None
        raise Violated(
            "I12", f"run {run.number} is {run.phase}, though every joint rests", world.now
        )


def _under_way(world: World) -> bool:
    run = world.core.run
    return run is not None and run.phase in (Phase.STARTING, Phase.MOVING, Phase.HOLDING)


def _rests_under_way(world: World) -> bool:
    return _under_way(world) and all(map(_rests, world.nodes.values()))


def _rests(node: Node) -> bool:
    return state_of(node) in AT_REST


def _outcome(
    world: World,
    judge: Judge,
    happenings: Happenings,
    violation: Violated | None,
    begun_us: int,
) -> Outcome:
    hits: Counter[str] = Counter()
    for laptop in world.laptops:
        for faulty_link in laptop.faulty_links.values():
            hits.update(faulty_link.struck)
    struck = happenings.struck + judge.filling.struck
    outcome = Outcome(violation, struck, happenings.refused, hits, world.now - begun_us)
    for laptop in world.laptops:
        for report in laptop.core.reports.values():
            outcome.partial_starts += report.partial_starts
            outcome.starts += len(report.starts)
    apart = next((one for one in judge.invariants if isinstance(one, RestTogether)), None)
    if apart is not None:
        outcome.rests = apart.rests
    together = next((one for one in judge.invariants if isinstance(one, Together)), None)
    if together is not None:
        outcome.guarantees = together.checked
        outcome.spreads = list(together.spreads.values())
    return outcome
