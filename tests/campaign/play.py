"""Plays one scenario through under the eyes of all invariants."""

from collections import Counter
from dataclasses import dataclass, field

from coordinator.arm import Arm
from coordinator.core.run import Phase
from coordinator.rehearsal.by_bytes import ByBytes, poll_by_bytes
from coordinator.rehearsal.world import BEGIN_US, World
from protocol.constants import US
from protocol.states import AT_REST
from simulator.unit import JointUnit
from tests.campaign.happenings import Happenings
from tests.campaign.intruder import Intruder
from tests.campaign.invariants import ALWAYS
from tests.campaign.invariants.base import Invariant
from tests.campaign.invariants.i04_together import Together
from tests.campaign.judge import Judge, Violated
from tests.campaign.lanes import Lanes
from tests.campaign.operator import Operator
from tests.campaign.scenario import KEY, Scenario, make_arm, make_units
from tests.campaign.truth import state_of

CALM_US = 12 * US
"""After the last happening: joints connect again within 2 s, a foreign session ends after 5 s."""
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
    apart_us: list[int] = field(default_factory=list)
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
    arm = make_arm(scenario)
    judge = Judge(kinds, lanes=lanes)
    units = make_units(scenario, arm, BEGIN_US)
    world = _make_world(scenario, arm, units, judge)
    judge.begin(world)
    if scenario.real_bytes:
        intruder = Intruder(world, judge, scenario.seed)
        judge.eavesdrop = intruder.overhear
    if lanes is not None:
        lanes.begin(world)
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
    return _outcome(world, judge, happenings, violation)


def _make_world(scenario: Scenario, arm: Arm, units: list[JointUnit], judge: Judge) -> World:
    if not scenario.real_bytes:
        return World(arm, units, scenario.profile, scenario.seed, observer=judge)
    return World(
        arm,
        units,
        scenario.profile,
        scenario.seed,
        carrier=lambda station: ByBytes(station, KEY),
        poll=poll_by_bytes,
        observer=judge,
    )


def _live(scenario: Scenario, world: World, happenings: Happenings, operator: Operator) -> None:
    """From the beginning until the faults are over."""
    if scenario.from_begin:
        end_us = happenings.schedule(world.now)
        operator.bring_up()
    else:
        operator.bring_up()
        end_us = happenings.schedule(world.now)
    world.run_for(max(0, end_us - world.now))

    def over() -> bool:
        run = world.core.run
        return run is None or run.phase in (Phase.ENDED, Phase.HELD, Phase.PAUSED)

    world.run_until(over, CALM_US)
    happenings.mend()
    world.run_for(CALM_US)
    run = world.core.run
    if (
        run is not None
        and run.phase in (Phase.STARTING, Phase.MOVING, Phase.HOLDING)
        and all(state_of(node) in AT_REST for node in world.nodes.values())
    ):
        raise Violated(
            "I12", f"run {run.number} is {run.phase}, though every joint rests", world.now
        )


def _outcome(
    world: World, judge: Judge, happenings: Happenings, violation: Violated | None
) -> Outcome:
    hits: Counter[str] = Counter()
    for station in world.stations:
        for air in station.airs.values():
            hits.update(air.struck)
    outcome = Outcome(violation, happenings.struck, happenings.refused, hits, world.now - BEGIN_US)
    for station in world.stations:
        for report in station.core.reports.values():
            outcome.partial_starts += report.partial_starts
            outcome.starts += len(report.starts)
            outcome.apart_us += [hold["apart_us"] for hold in report.holds]
    together = next((one for one in judge.invariants if isinstance(one, Together)), None)
    if together is not None:
        try:
            for report in world.core.reports.values():
                together.judge_starts(world.core.session, report.starts)
        except Violated as violated:
            outcome.violation = outcome.violation or violated
        outcome.guarantees = together.checked
        outcome.spreads = together.spreads
    return outcome
