"""The rehearsal's world: the same seed is the same world, and time is its own."""

from coordinator.core import events as ev
from coordinator.rehearsal.world import World
from protocol.constants import SILENCE_US
from tests.coordinator.core.kit import (
    S,
    all_up,
    at_rest,
    finish,
    homed_world,
    link,
    moving,
    play,
    small_arm,
    truth,
    unit,
    units,
    until,
    wiretap,
    world_up,
)


def story(profile: str, seed: int) -> tuple[object, ...]:
    """Everything that was sent, told and truly done in a run."""
    world = homed_world(profile, seed)
    wire = wiretap(world)
    play(world)
    finish(world)
    return wire.drives, wire.replies, world.notes, truth(world), world.now


def test_the_same_seed_gives_the_same_world_to_the_microsecond() -> None:
    assert story("busy", 7) == story("busy", 7)


def test_another_seed_gives_another_world() -> None:
    assert story("busy", 7) != story("busy", 8)


def test_how_time_is_let_pass_changes_nothing_that_happens() -> None:
    whole, steps = world_up("home", 3), world_up("home", 3)
    for world in (whole, steps):
        world.command(ev.Home())
    whole.run_for(20 * S)
    while steps.now < whole.now:
        steps.run_for(min(7_919, whole.now - steps.now))
    assert truth(whole) == truth(steps)
    assert whole.notes == steps.notes


def test_things_scripted_for_the_same_instant_happen_in_the_order_in_which_they_were_made() -> None:
    arm = small_arm(1)
    world = World(arm, units(arm, 1), "none", 1)
    seen: list[tuple[str, int]] = []

    def note(what: str) -> None:
        seen.append((what, world.now))

    at_us = world.now + 500
    world.at(at_us + 1, note, "third")
    world.at(at_us, note, "first")
    world.at(at_us, note, "second")
    world.run_for(1_000)
    assert seen == [("first", at_us), ("second", at_us), ("third", at_us + 1)]


def test_a_wait_that_is_not_fulfilled_ends_at_its_limit() -> None:
    world = world_up("none")
    began = world.now
    assert not world.run_until(lambda: False, 3 * S)
    assert world.now == began + 3 * S


def test_a_cut_takes_one_direction_only_where_that_is_asked() -> None:
    world = world_up("none")
    tip = unit(world, "tip").joint
    world.cut("tip", 2 * S, ["back"])
    sent = tip.status(0.0).sequence
    heard = link(world, "tip").heard_us
    world.run_for(1 * S)
    assert tip.status(0.0).sequence > sent
    assert link(world, "tip").heard_us == heard
    world.run_for(2 * S)
    world.cut("tip", 2 * S, ["forward"])
    sent = tip.status(0.0).sequence
    world.run_for(1 * S)
    assert tip.status(0.0).sequence == sent


def test_a_dead_coordinator_says_nothing_and_the_joints_stop_by_silence() -> None:
    world = homed_world("none")
    moving(world)
    world.kill_coordinator()
    died = world.now
    until(world, lambda: at_rest(world))
    ramp = world.core.ramp
    assert world.now - died <= SILENCE_US + ramp.duration_us + 1_000


def test_a_joint_without_power_answers_nothing_and_stands_where_it_was() -> None:
    world = homed_world("none")
    moving(world)
    world.kill_joint("tip")
    place = unit(world, "tip").true_position(world.now)
    heard = link(world, "tip").heard_us
    world.run_for(3 * S)
    assert unit(world, "tip").true_position(world.now)[0] == place[0]
    assert link(world, "tip").heard_us == heard
    world.restart_joint("tip")
    until(world, lambda: all_up(world))


def test_a_sleeping_laptops_clock_stands_still_and_the_joints_do_not() -> None:
    world = world_up("none")
    before = world.station.now
    joint_us = unit(world, "tip").joint_us(world.now)
    true_us = world.now
    world.station.sleep(10 * S)
    world.run_for(10 * S + 1_000)
    assert world.station.now - before == 1_000
    assert world.now - true_us == 10 * S + 1_000
    assert unit(world, "tip").joint_us(world.now) - joint_us > 9.9 * S
