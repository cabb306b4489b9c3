"""What happens in tests of rules, on two homed joints, so that one safeguard is needed."""

from collections.abc import Callable

from coordinator.codes.refusal import RefusalCode
from coordinator.core import events as ev
from coordinator.core.link.connection import LinkState
from coordinator.core.run import Phase
from protocol.constants import US
from protocol.drive import StopLevel
from protocol.status import Fault
from tests.campaign.rule_kit import phase, play
from tests.campaign.stage import Stage

Provoke = Callable[[Stage], None]
JOG_DEG_S = 45.0
"""As fast as the first joint may."""
STEPS_LOST = 300_000
"""Counts, many full steps, and less than the sensor is wide."""


def coordinator_dies(stage: Stage) -> None:
    """In mid-move."""
    play(stage)
    stage.world.kill_coordinator()
    stage.world.run_for(4 * US)


def link_is_cut(stage: Stage) -> None:
    """What is sent to the second joint is lost, in mid-move."""
    play(stage)
    stage.world.cut("j2", 2 * US, ("forward",))
    stage.world.run_for(4 * US)


def plays(stage: Stage) -> None:
    """Nothing else happens."""
    play(stage)
    stage.world.run_for(4 * US)
    for one in stage.judge.invariants:
        one.at_end()


def plays_later(stage: Stage) -> None:
    """When new clock maps have come."""
    stage.world.run_for(3 * US)
    plays(stage)


def holds_and_resumes(stage: Stage) -> None:
    """Away from home."""
    play(stage)
    stage.world.run_for(US)
    stage.world.command(ev.Hold())
    assert stage.world.run_until(lambda: phase(stage.world) is Phase.HELD, 3 * US)
    stage.world.command(ev.Resume())
    stage.world.run_for(US)


def jogs(stage: Stage) -> None:
    """Away from home, and at rest again."""
    _keep_jogging(stage, -JOG_DEG_S, 10)


def loses_steps(stage: Stage) -> None:
    """While it stands beside its home sensor, which it then passes."""
    _keep_jogging(stage, -JOG_DEG_S, 6)
    node = stage.world.node("j1")
    node.unit.lose_steps(stage.world.now, STEPS_LOST)
    node.touched()
    _keep_jogging(stage, JOG_DEG_S, 12)


def jogs_to_its_end(stage: Stage) -> None:
    """Home is near it."""
    _keep_jogging(stage, JOG_DEG_S, 8)


def jogs_unhomed(stage: Stage) -> None:
    """After it lost its power."""
    world = stage.world
    world.kill_joint("j2")
    world.restart_joint("j2")
    link = world.core.links[1]
    assert world.run_until(lambda: link.connection.state is not LinkState.UP, US)
    assert world.run_until(
        lambda: link.up and link.connection.configured and link.clock.locked, 20 * US
    )
    _keep_jogging(stage, -120.0, 6, "j2")


def _keep_jogging(stage: Stage, velocity_deg_s: float, times: int, name: str = "j1") -> None:
    for _ in range(times):
        try:
            stage.world.command(ev.Jog({name: velocity_deg_s}))
        except ev.Refused as refused:  # a fault ended the jog, and the control is held on
            if refused.code is not RefusalCode.JOG_ENDED:
                raise
        stage.world.run_for(US // 10)
    stage.world.command(ev.Jog({name: 0.0}))
    stage.world.run_for(US)


def driver_fails(stage: Stage) -> None:
    """In mid-move: the position is not sure any more."""
    _fault(stage, Fault.DRIVER)


def gets_hot(stage: Stage) -> None:
    """In mid-move: the position stays known."""
    _fault(stage, Fault.OVER_TEMPERATURE)


def _fault(stage: Stage, fault: Fault) -> None:
    play(stage)
    node = stage.world.node("j1")
    node.unit.fault(fault, stage.world.now)
    node.touched()
    stage.world.run_for(US)


def is_released(stage: Stage) -> None:
    """At rest."""
    stage.world.command(ev.Stop(StopLevel.STOP_AND_RELEASE))
    stage.world.run_for(US)


def intruder_tries(stage: Stage) -> None:
    """From the beginning, through bytes and tags."""
    stage.world.run_for(4 * US)
