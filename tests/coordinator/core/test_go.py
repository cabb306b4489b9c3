"""Going to a taught place: joints turn there while the control is held, and never longer."""

import contextlib

import pytest

from coordinator.core import events as ev
from coordinator.rehearsal.world import World
from protocol.constants import EXPIRY_US
from tests.coordinator.core.kit import (
    S,
    at_rest,
    homed_world,
    positions,
    refusal,
    unit,
    world_up,
)

PLACE = {"base": 30.0, "middle": -15.0, "tip": 0.0}
BRAKING_US = 500_000
"""60 °/s at 120 °/s² (facts.md, Motion)."""


def still_world(profile: str) -> World:
    """A world whose joints are homed and have said since that they rest."""
    world = homed_world(profile)
    world.run_for(1 * S)
    return world


def counts(world: World, name: str) -> float:
    """Where a joint truly stands, in its own counts since its homing."""
    return unit(world, name).joint.position(world.now)[0]


def go_for(
    world: World, duration_us: int, place: dict[str, float] = PLACE, share: float = 0.5
) -> None:
    """Hold the control: the command comes again every 100 ms."""
    for _ in range(duration_us // 100_000):
        world.command(ev.Go("a place", place, share))
        world.run_for(100_000)


def turns(world: World, name: str) -> float:
    """True speed in degrees per second of joint time."""
    velocity = unit(world, name).true_position(world.now)[1]
    return abs(velocity / world.arm.joint(name).counts_per_degree)


@pytest.mark.parametrize("profile", ["none", "home", "hostile"])
def test_all_joints_come_to_the_place_exactly_while_the_control_is_held(profile: str) -> None:
    world = still_world(profile)
    go_for(world, 4 * S)
    place = {joint.name: joint.to_counts(PLACE[joint.name]) for joint in world.arm.joints}
    assert {name: counts(world, name) for name in place} == place
    world.command(ev.Jog({}))
    world.run_for(1 * S)
    assert at_rest(world)
    assert world.core.jogging == []
    assert {name: counts(world, name) for name in place} == place


def test_the_joint_with_the_longest_way_has_the_share_asked_for_and_all_arrive_together() -> None:
    world = still_world("none")
    go_for(world, 600_000)
    # 30° at half of 60 °/s take 1 s; 15° in the same time are 15 °/s, and who is there stays.
    assert turns(world, "base") == pytest.approx(30.0, rel=1e-2)
    assert turns(world, "middle") == pytest.approx(15.0, rel=1e-2)
    assert turns(world, "tip") == 0.0


def test_a_control_that_is_let_go_stops_all_joints_on_their_way() -> None:
    world = still_world("none")
    go_for(world, 600_000)
    world.run_for(300_000 + EXPIRY_US + BRAKING_US)
    assert at_rest(world)
    assert counts(world, "base") != world.arm.joint("base").to_counts(30.0)
    place = positions(world)
    world.run_for(5 * S)
    assert positions(world) == place


def test_pressed_again_on_its_way_it_goes_on_to_the_same_place() -> None:
    world = still_world("none")
    go_for(world, 600_000)
    world.command(ev.Jog({}))
    world.run_for(1 * S)
    go_for(world, 4 * S)
    assert counts(world, "base") == world.arm.joint("base").to_counts(30.0)


def test_a_hold_ends_it_until_the_control_is_let_go() -> None:
    world = still_world("none")
    go_for(world, 600_000)
    world.command(ev.Hold())
    world.run_for(100_000)
    assert refusal(world, ev.Go("a place", PLACE, 0.5)).code == "jog-ended"
    world.run_for(1 * S)
    assert at_rest(world)


def test_it_goes_nowhere_while_something_else_jogs_nor_is_it_turned_on_its_way() -> None:
    world = still_world("none")
    world.command(ev.Jog({"tip": 10.0}))
    assert refusal(world, ev.Go("a place", PLACE, 0.5)).code == "jogging"
    world.command(ev.Jog({}))
    world.run_for(1 * S)
    go_for(world, 300_000)
    assert refusal(world, ev.Jog({"base": 10.0})).code == "jogging"
    assert refusal(world, ev.Step("tip", 1.0, 10.0)).code == "jogging"
    assert refusal(world, ev.Go("elsewhere", {"base": 1.0}, 0.5)).code == "jogging"


def test_a_place_beyond_a_range_an_unknown_joint_and_an_impossible_speed_are_refused() -> None:
    world = still_world("none")
    before = positions(world)
    assert refusal(world, ev.Go("far", {"base": 90.5}, 0.5)).code == "step-range"
    assert refusal(world, ev.Go("far", {"knee": 1.0}, 0.5)).code == "joint-unknown"
    assert refusal(world, ev.Go("far", PLACE, 1.01)).code == "jog-speed"
    assert refusal(world, ev.Go("far", PLACE, 0.0)).code == "jog-speed"
    world.run_for(1 * S)
    assert positions(world) == before


def test_an_arm_that_is_not_homed_goes_nowhere() -> None:
    world = world_up("none")
    assert refusal(world, ev.Go("a place", PLACE, 0.5)).code == "not-homed"


def test_a_joint_that_is_lost_ends_the_way_of_all() -> None:
    world = still_world("none")
    go_for(world, 500_000, {**PLACE, "tip": 40.0})
    world.cut("tip", 60 * S)
    for _ in range(30):
        with contextlib.suppress(ev.Refused):
            world.command(ev.Go("a place", {**PLACE, "tip": 40.0}, 0.5))
        world.run_for(100_000)
    assert world.core.jogging == []
    assert at_rest(world)
    assert counts(world, "base") != world.arm.joint("base").to_counts(30.0)
