"""The joints' lights show the arm's condition."""

from coordinator.core import events as ev
from coordinator.core.condition import condition
from coordinator.rehearsal.world import World
from protocol.drive import StopLevel
from protocol.light import ConditionWord
from tests.coordinator.core.kit import (
    EVEN,
    NAMES,
    S,
    homed_world,
    moving,
    play,
    unit,
    world_up,
)

W = ConditionWord


def lights(world: World) -> set[ConditionWord]:
    """What the joints' lights show."""
    return {unit(world, name).joint.light_word(world.now) for name in NAMES}


def test_every_light_shows_the_word_of_page_and_command_line() -> None:
    world = world_up(EVEN)
    world.run_for(1 * S)
    assert condition(world.core, world.now).word is W.MOTORS_OFF
    assert lights(world) == {W.MOTORS_OFF}
    world = homed_world(EVEN)
    world.run_for(1 * S)
    assert lights(world) == {W.AT_REST}


def test_lights_say_that_the_arm_starts_and_then_that_it_moves_and_is_held() -> None:
    world = homed_world(EVEN)
    play(world)
    assert world.run_until(lambda: lights(world) == {W.STARTS}, 5 * S)
    assert world.run_until(lambda: lights(world) == {W.MOVING}, 5 * S)
    world.command(ev.Hold())
    assert world.run_until(lambda: lights(world) == {W.HELD}, 5 * S)


def test_lights_show_a_stop() -> None:
    world = homed_world(EVEN)
    moving(world)
    world.command(ev.Stop(StopLevel.STOP))
    assert world.run_until(lambda: lights(world) == {W.STOPPED}, 5 * S)


def test_lights_do_not_go_on_with_what_was_told_before_the_coordinator_fell_silent() -> None:
    world = homed_world(EVEN)
    world.run_for(1 * S)
    world.kill_coordinator()
    world.run_for(2 * S)
    assert lights(world) == {W.NOT_KNOWN}
