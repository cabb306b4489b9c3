"""A run goes on only with outputs as its program left them."""

from coordinator.core import events as ev
from coordinator.core.run import Phase
from coordinator.core.snapshot.run import run_snapshot
from coordinator.rehearsal.world import World
from tests.coordinator.core.grip import TIP, gripper, gripping_world
from tests.coordinator.core.kit import S, finish, play, refusal, run_of, until, until_phase

CARRY = "G90 G94\nG0 A5\nM3\nG1 A40 F300\nM5\nG0 A0\nM0\nG0 A5\nM2\n"
OFF, ON = ev.Switch("gripper", False), ev.Switch("gripper", True)


def held_while_carrying(tool: str = "") -> World:
    world = gripping_world("quiet", tool=tool)
    play(world, CARRY)
    until(world, lambda: gripper(world), 20 * S)
    world.run_for(1 * S)
    world.command(ev.Hold())
    until_phase(world, Phase.HELD)
    world.run_for(1 * S)
    return world


def test_what_a_hand_has_switched_off_meanwhile_is_to_be_switched_on_first() -> None:
    world = held_while_carrying()
    world.command(OFF)
    until(world, lambda: not gripper(world), 1 * S)
    world.run_for(1 * S)
    told = refusal(world, ev.Resume())
    assert told.code == "output"
    assert str(told) == "gripper of tip is off, and the program left it on: switch it on first"
    obstacle = run_snapshot(run_of(world), world.laptop.now).obstacle
    assert obstacle is not None
    assert obstacle.message == str(told)
    world.command(ON)
    until(world, lambda: gripper(world), 1 * S)
    world.run_for(1 * S)
    world.command(ev.Resume())
    until_phase(world, Phase.PAUSED)
    assert not gripper(world)


def test_what_a_joint_switched_off_by_itself_on_a_hold_is_to_be_switched_on_first() -> None:
    world = held_while_carrying('on_hold = "off"\n')
    assert not gripper(world)
    assert refusal(world, ev.Resume()).code == "output"


def test_what_the_program_has_not_switched_is_nobodys_business() -> None:
    world = gripping_world("quiet")
    play(world, "G90 G94\nG1 A40 F300\nM3\nM5\nG0 A0\nM2\n")
    until_phase(world, Phase.MOVING)
    world.run_for(1 * S)
    world.command(ev.Hold())
    until_phase(world, Phase.HELD)
    world.run_for(1 * S)
    world.command(ON)
    until(world, lambda: gripper(world), 1 * S)
    world.command(ev.Resume())
    finish(world)


def test_at_a_pause_it_is_the_same() -> None:
    world = gripping_world("quiet")
    play(world, CARRY)
    until_phase(world, Phase.PAUSED)
    world.run_for(1 * S)
    world.command(ON)
    until(world, lambda: gripper(world), 1 * S)
    world.run_for(1 * S)
    assert str(refusal(world, ev.Resume())) == (
        "gripper of tip is on, and the program left it off: switch it off first"
    )
    world.command(OFF)
    until(world, lambda: not gripper(world), 1 * S)
    world.run_for(1 * S)
    world.command(ev.Resume())
    finish(world)


def test_a_wait_does_not_pass_with_its_own_output_off() -> None:
    world = gripping_world("quiet", tool='wait_on = { input = "held", is = true, within_s = 5 }\n')
    world.units[TIP].follows = False
    play(world, CARRY)
    until_phase(world, Phase.WAITING)
    world.command(ev.Hold())
    until_phase(world, Phase.PAUSED)
    world.command(OFF)
    until(world, lambda: not gripper(world), 1 * S)
    world.units[TIP].input(world.now, 0, True)
    world.run_for(1 * S)
    assert refusal(world, ev.Resume()).code == "output"
