"""Outputs switched by hand: at rest alone, confirmed, given up in time, and told."""

import pytest

from coordinator.core import events as ev
from coordinator.core.run import Phase
from coordinator.core.snapshot.arm import arm_snapshot
from coordinator.rehearsal.world import World
from protocol.drive import StopLevel
from tests.coordinator.core.grip import GRIP, TIP, gripper, gripping_world
from tests.coordinator.core.kit import (
    S,
    finish,
    play,
    refusal,
    run_of,
    truth,
    until,
    until_phase,
    wiretap,
)  # fmt: skip

ON, OFF = ev.Switch("gripper", True), ev.Switch("gripper", False)


def told(world: World, *, details: bool = False) -> list[str]:
    return [
        note.message
        for note in world.notes
        if note.code.startswith("output-") and note.detail is details
    ]


def test_an_output_is_switched_by_hand_and_told_by_name_with_its_input() -> None:
    world = gripping_world("quiet")
    world.command(ON)
    until(world, lambda: gripper(world), 1 * S)
    world.run_for(1 * S)
    joint = arm_snapshot(world.core, world.laptop.now).joints[TIP]
    assert (joint.outputs, joint.inputs) == ({"gripper": True}, {"held": True})
    assert arm_snapshot(world.core, world.laptop.now).joints[0].outputs == {}
    world.command(OFF)
    until(world, lambda: not gripper(world), 1 * S)
    world.run_for(1 * S)
    assert told(world) == []
    assert told(world, details=True) == ["gripper of tip is on", "gripper of tip is off"]


def test_a_switch_by_hand_is_asked_for_until_it_is_confirmed_and_no_longer() -> None:
    world = gripping_world("hostile")
    wire = wiretap(world)
    world.command(ON)
    until(world, lambda: gripper(world), 2 * S)
    world.run_for(3 * S)
    asked = [at for at, sent in wire.drives if sent.drive.output_mask]
    assert asked
    assert asked[-1] - asked[0] <= 1 * S
    assert gripper(world)


def test_a_joint_that_does_not_answer_is_given_up_and_named_and_switches_nothing_later() -> None:
    world = gripping_world("quiet")
    world.cut("tip", 2 * S)
    world.command(ON)
    world.run_for(10 * S)
    assert not gripper(world)
    assert told(world) == ["tip has not confirmed that gripper is on; it is not known"]


@pytest.mark.parametrize(
    "command", [ev.Stop(StopLevel.STOP), ev.Home(("base",)), ev.Jog({"base": 5.0})]
)
def test_another_command_takes_back_a_switch_that_is_not_obeyed_yet(command: ev.Command) -> None:
    world = gripping_world("quiet")
    world.cut("tip", 300_000)
    world.command(ON)
    world.command(command)
    world.run_for(10 * S)
    assert not gripper(world)


@pytest.mark.parametrize("command", [ev.Survey(), ev.Blink("tip")])
def test_what_moves_nothing_takes_no_switch_back(command: ev.Command) -> None:
    world = gripping_world()
    world.cut("tip", S // 2)
    world.command(ON)
    world.command(command)
    world.run_for(1 * S)
    assert gripper(world)


def test_nothing_is_switched_by_hand_while_anything_moves_or_will_by_itself() -> None:
    world = gripping_world("quiet")
    world.units[TIP].follows = False
    play(world, GRIP)
    for phase in (Phase.LOADING, Phase.MOVING, Phase.WAITING):
        until_phase(world, phase)
        assert refusal(world, OFF).code == "running"
    until_phase(world, Phase.PAUSED)
    world.command(OFF)
    until(world, lambda: not gripper(world), 1 * S)
    world.command(ev.Stop(StopLevel.STOP))
    world.run_for(2 * S)
    world.command(ev.Home())
    assert refusal(world, ON).code == "homing"
    world.run_for(60 * S)
    world.command(ev.Jog({"base": 5.0}))
    assert refusal(world, ON).code == "jogging"
    world.run_for(200_000)
    # Let go, it moves on for a moment.
    world.command(ev.Jog({"base": 0.0}))
    assert refusal(world, ON).code in {"jogging", "not-at-rest"}
    world.run_for(5 * S)
    world.command(ev.Home(("base",)))
    world.run_for(500_000)
    world.command(ev.Hold())
    assert refusal(world, ON).code in {"homing", "not-at-rest"}


def test_an_output_may_be_switched_while_a_run_is_held_and_after_a_stop() -> None:
    world = gripping_world("quiet")
    play(world, "G90 G94\nG0 A40 B40\nG0 A0 B0\nM2\n")
    until_phase(world, Phase.MOVING)
    world.run_for(1 * S)
    world.command(ev.Hold())
    until_phase(world, Phase.HELD)
    world.run_for(1 * S)
    world.command(ON)
    until(world, lambda: gripper(world), 1 * S)
    world.command(ev.Resume())
    finish(world)
    world.command(ev.Stop(StopLevel.RELEASE))
    world.run_for(2 * S)
    world.command(OFF)
    until(world, lambda: not gripper(world), 1 * S)
    assert run_of(world).phase is Phase.ENDED


def test_an_output_that_is_not_there_is_refused_by_name() -> None:
    world = gripping_world("quiet")
    assert refusal(world, ev.Switch("pump", True)).message == (
        "there is no output 'pump'; this arm has gripper"
    )
    bare = gripping_world("quiet", outputs=0)
    assert refusal(bare, ON).code == "output-unknown"
    assert refusal(bare, ON).message == (
        "gripper is output 1 of tip by the arm file, but tip has none"
    )


def test_what_a_joint_switches_off_by_itself_has_a_line() -> None:
    world = gripping_world("quiet", tool='on_stop = "off"\n')
    world.command(ON)
    until(world, lambda: gripper(world), 1 * S)
    world.run_for(1 * S)
    world.command(ev.Stop(StopLevel.STOP))
    world.run_for(2 * S)
    assert not gripper(world)
    assert told(world) == ["gripper of tip is off"]


def test_a_joint_that_restarts_with_its_output_on_is_told_to_be_off() -> None:
    world = gripping_world("quiet")
    world.command(ON)
    until(world, lambda: gripper(world), 1 * S)
    world.run_for(1 * S)
    world.kill_joint("tip")
    world.run_for(1 * S)
    world.restart_joint("tip")
    world.run_for(10 * S)
    assert told(world) == ["gripper of tip is off"]
    changes = [(one.event, one.outputs, one.inputs) for one in truth(world)["tip"]]
    assert changes == [
        ("outputs", 1, 0), ("inputs", 1, 1), ("outputs", 0, 1), ("inputs", 0, 1), ("inputs", 0, 0),
    ]  # fmt: skip
