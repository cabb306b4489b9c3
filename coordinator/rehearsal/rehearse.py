"""A program played on software joints before it is played on the arm: behind `unisono rehearse`.

Each seed is a world of its own, with other crystals, other places to begin and another course of
events on the network. In each the arm is homed and moved to its pose `park`, on a perfect network,
as that is not what is asked about. Then the coordinator is started anew, knowing nothing, on the
network in question, measures its links for a while, and plays the program as an operator would:
who goes on at every programmed pause, and resumes a held run after a moment.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from typing import Final

from coordinator.config.arm import Arm
from coordinator.core import events as ev
from coordinator.core.homing import HomingSequence, HomingState
from coordinator.core.run import Phase, Run
from coordinator.motion import plan_parts
from coordinator.programs import NO_SWITCHES, Move, Program, Switches, Target
from coordinator.programs.loops import ONCE, Loops
from coordinator.programs.steps import End
from coordinator.rehearsal.meeting import RehearsalError, wait_for_all
from coordinator.rehearsal.operator import REACTION_US, Operator
from coordinator.rehearsal.played import Played
from coordinator.rehearsal.shared_supply import SharedSupply
from coordinator.rehearsal.world import BEGIN_US, World
from protocol.constants import US
from simulator.network import Profile
from simulator.settings import JointSettings
from simulator.unit import JointUnit

KEY: Final = bytes(32)
"""Messages pass as values here: nothing is tagged with it."""
HOMING_US: Final = 3_600 * US
WATCHED_US: Final = 30 * US
"""How long the links have been watched when the program begins: an operator homes first."""


def play_once(
    arm: Arm,
    text: str,
    joints: Sequence[JointSettings],
    network: Profile,
    seed: int,
    switches: Switches = NO_SWITCHES,
    loops: Loops = ONCE,
    tell: Callable[[float], None] = lambda _share: None,
) -> Played:
    """Rehearse a play once: a program in one loop or several.

    `tell` is told now and then which share of its planned time has passed, 0 to 1. `joints` are the
    arm's software joints, base to tool. Raises ProgramError as `plan_parts` does,
    Refused for a program that moves nothing, and RehearsalError.
    """
    world, supply = _parked(arm, joints, seed)
    _meet(world, network)
    supply.lowest_v.clear()
    operator = Operator(world, text, switches, loops, supply, tell)
    operator.play()
    return operator.seen(seed)


# ---- before the program ---------------------------------------------------------------------


def _parked(arm: Arm, joints: Sequence[JointSettings], seed: int) -> tuple[World, SharedSupply]:
    """A world whose joints are homed and stand at `park`, and their supply."""
    units = [JointUnit(settings, KEY, float(BEGIN_US)) for settings in joints]
    # Nothing real moves here, and nobody is there to hold a control.
    world = World(replace(arm, homing_while_held=False), units, "none", seed)
    supply = SharedSupply(world.schedule, units)
    wait_for_all(world)
    world.command(ev.Home())
    homing = world.core.homing
    assert homing is not None
    if not world.run_until(partial(_is_over, homing), HOMING_US):
        raise RehearsalError("homing does not end")
    if homing.state is not HomingState.DONE:
        raise RehearsalError(f"homing fails: {homing.message}")
    targets = tuple(Target(k, angle, 1) for k, angle in enumerate(arm.poses["park"]))
    move = Move(1, 1, targets, relative=False, rapid=True)
    # What tells of the last homing must have come, or it would not be known where joints stand.
    world.run_for(REACTION_US)
    parts = plan_parts(Program((move, End(2)), arm.words), arm, world.core.start_counts())
    if parts:
        world.command(ev.Play("park", "", parts))
        run = world.core.run
        assert run is not None
        if not world.run_until(partial(_rests, run), HOMING_US):
            raise RehearsalError("the move to the pose park does not end")
        if run.report.outcome != "finished":
            raise RehearsalError(f"the move to the pose park fails: {run.report.message}")
    return world, supply


def _meet(world: World, network: Profile) -> None:
    """A new coordinator, on the network in question, with all joints connected and measured."""
    world.kill_coordinator()
    for joint in world.arm.joints:
        world.faulty_link(joint.name).replace(network, world.random.getrandbits(63), world.now)
    world.start_coordinator()
    wait_for_all(world)
    world.run_for(WATCHED_US)


def _is_over(homing: HomingSequence) -> bool:
    return homing.state is not HomingState.RUNNING


def _rests(run: Run) -> bool:
    return run.phase in (Phase.ENDED, Phase.HELD)
