"""An arm that is found and homed, from which scenarios begin.

Bringing an arm up takes longer than most scenarios and goes the same way until something strikes.
So it is done once for an arm and a network, and each scenario goes on from a copy, on links with
random numbers of its own. A scenario that strikes during homing, has small buffers or goes through
bytes has a world of its own from the beginning.
"""

from dataclasses import dataclass, replace
from functools import lru_cache

from coordinator.rehearsal.world import BEGIN_US, World
from tests.campaign.clone import clone
from tests.campaign.happenings import Happenings
from tests.campaign.intruder import Intruder
from tests.campaign.invariants.base import Invariant
from tests.campaign.judge import Judge
from tests.campaign.lanes import Lanes
from tests.campaign.operator import Operator
from tests.campaign.scenario import KEY, Scenario, make_arm, make_units

KEPT = 600
"""Worlds kept, some hundred kB each."""


@dataclass(slots=True)
class Stage:
    """A world and who watches it."""

    world: World
    judge: Judge


def stage_of(
    scenario: Scenario, kinds: tuple[type[Invariant], ...], lanes: Lanes | None = None
) -> Stage:
    """Where a scenario begins. Raises Violated where bringing the arm up breaks an invariant."""
    if scenario.joints_in != "python":
        # Only now: joints in Python need no library.
        from tests.campaign.joints_in_c.motor import MotorFollows

        kinds = (*kinds, MotorFollows)
    alone = scenario.from_begin or scenario.capacities or scenario.real_bytes
    if alone or lanes is not None:
        stage = _bring_up(scenario, kinds, lanes)
    else:
        stage = clone(_kept(_arm_of(scenario), kinds))
    if not scenario.from_begin:
        _go_on(stage.world, scenario.seed)
    return stage


@lru_cache(KEPT)
def _kept(scenario: Scenario, kinds: tuple[type[Invariant], ...]) -> Stage:
    return _bring_up(scenario, kinds, None)


def _arm_of(scenario: Scenario) -> Scenario:
    """All of a scenario that bringing the arm up depends on."""
    return replace(
        scenario, seed=0, program=(), happenings=(), from_line=None,
        loops=1, for_s=None, check_edges=False,
    )  # fmt: skip


def _bring_up(scenario: Scenario, kinds: tuple[type[Invariant], ...], lanes: Lanes | None) -> Stage:
    arm = make_arm(scenario)
    units = make_units(scenario, arm, BEGIN_US)
    judge = Judge(kinds, lanes=lanes)
    world = World(
        arm,
        units,
        scenario.profile,
        scenario.arm_seed,
        key=KEY if scenario.by_bytes else None,
        observer=judge,
    )
    judge.begin(world)
    judge.network = scenario.profile
    if scenario.real_bytes:
        judge.eavesdrop = Intruder(world, judge, scenario.seed).overhear
    if lanes is not None:
        lanes.begin(world)
    if not scenario.from_begin:
        Operator(world, Happenings(scenario, world, judge)).bring_up()
    return Stage(world, judge)


def _go_on(world: World, seed: int) -> None:
    world.random.seed(seed)
    for faulty_link in world.laptop.faulty_links.values():
        faulty_link.replace(world.profile, world.random.getrandbits(63), world.now)
