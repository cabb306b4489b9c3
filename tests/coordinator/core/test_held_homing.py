"""A homing that moves its joint only while a control is held, and what people see before."""

import contextlib
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coordinator.codes.refusal import RefusalCode
from coordinator.core import events as ev
from coordinator.core.homing import LET_GO_US, HomingSequence, HomingState
from coordinator.core.homing_ways import HomingWay, homing_ways
from coordinator.core.jogging import JOG_RENEWAL_US
from coordinator.rehearsal.world import World
from protocol.constants import EXPIRY_US
from protocol.states import JointState
from tests.coordinator.core.kit import (
    EVEN,
    S,
    all_up,
    at_rest,
    home,
    link,
    links,
    positions,
    refusal,
    small_arm,
    state,
    units,
    until,
    world_up,
)

AGAIN_US = 60_000
"""As a page says what is held."""
ASKED = ev.HoldHome("base")
WISH_US = 20_000
"""A wish, and a drive, are on their way for a moment."""


def homing_of(world: World) -> HomingSequence:
    """The newest homing."""
    assert world.core.homing is not None
    return world.core.homing


def hold(world: World, for_us: int) -> None:
    """Hold the control for so long."""
    end_us = world.now + for_us
    while world.now < end_us:
        world.command(ASKED)
        world.run_for(AGAIN_US)


def braking_us(world: World) -> int:
    """What the joint takes to come to rest from its fastest speed in homing."""
    joint = link(world, "base").joint
    return round(joint.homing.fast_deg_s / joint.acceleration_deg_s2 * S)


def searching(world: World) -> None:
    """Hold the control until the joint truly turns."""
    hold(world, 300_000)
    assert not at_rest(world)
    assert state(world, "base") is JointState.HOMING


def test_joint_is_homed_while_its_control_is_held_and_held_on_nothing_more_happens() -> None:
    world = world_up(count=1)
    number = world.command(ASKED)
    hold(world, 10 * S)
    homing = homing_of(world)
    assert (homing.state, homing.number) == (HomingState.DONE, number)
    assert link(world, "base").homed
    assert at_rest(world)
    assert homing.snapshot().held is True


@pytest.mark.parametrize("explicitly", [True, False])
def test_joint_is_at_rest_soon_after_its_control_is_let_go(*, explicitly: bool) -> None:
    world = world_up(EVEN, count=1)
    searching(world)
    if explicitly:
        world.command(ev.Jog({}))
        # A drive without permission is on its way at once.
        world.run_for(WISH_US + braking_us(world))
    else:
        world.run_for(JOG_RENEWAL_US + EXPIRY_US + braking_us(world))
    assert at_rest(world)
    assert homing_of(world).state is HomingState.FAILED
    assert homing_of(world).message == "base: its control was let go before it was homed"
    world.run_for(5 * S)
    assert at_rest(world)
    assert not link(world, "base").homed


def test_joint_that_was_let_go_is_homed_as_its_control_is_held_anew() -> None:
    world = world_up(count=1)
    searching(world)
    world.command(ev.Jog({}))
    world.run_for(1 * S)
    hold(world, 10 * S)
    assert homing_of(world).number == 2
    assert link(world, "base").homed


@pytest.mark.parametrize("halt", [ev.Hold(), ev.Stop(), ev.Hold(ev.Because.GONE)])
def test_hold_and_stop_end_it_and_the_control_that_is_held_still_begins_nothing(
    halt: ev.Command,
) -> None:
    world = world_up(count=1)
    searching(world)
    world.command(halt)
    world.run_for(WISH_US + braking_us(world))
    assert at_rest(world)
    for _ in range(20):
        refused = refusal(world, ASKED)
        assert refused.code is RefusalCode.JOG_ENDED
        assert "let go of the control first" in refused.message
        world.run_for(AGAIN_US)
        assert at_rest(world)
    world.run_for(LET_GO_US)
    world.command(ASKED)
    hold(world, 10 * S)
    assert link(world, "base").homed


def test_coordinator_that_dies_leaves_the_joint_at_rest_within_its_expiry() -> None:
    world = world_up(count=1)
    searching(world)
    world.kill_coordinator()
    world.run_for(EXPIRY_US + braking_us(world))
    assert at_rest(world)


def test_joint_that_is_homed_already_is_not_said_to_have_failed_as_the_hand_lets_go() -> None:
    world = world_up(count=1)
    while state(world, "base") is not JointState.READY:
        hold(world, AGAIN_US)
    world.command(ev.Jog({}))
    until(world, lambda: homing_of(world).state is not HomingState.RUNNING)
    assert homing_of(world).state is HomingState.DONE


def test_one_control_homes_one_joint_and_another_waits_until_that_is_over() -> None:
    world = world_up(count=2)
    world.command(ev.HoldHome("middle"))
    world.run_for(AGAIN_US)
    assert refusal(world, ASKED).code is RefusalCode.HOMING
    for command in (ev.Home(("base",)), ev.Jog({"base": 5.0})):
        assert refusal(world, command).code is RefusalCode.HOMING
    assert refusal(world, ev.HoldHome("thumb")).code is RefusalCode.JOINT_UNKNOWN


def test_homing_that_goes_on_by_itself_is_no_matter_of_a_control() -> None:
    world = world_up(count=1)
    world.command(ev.Home())
    world.run_for(300_000)
    assert refusal(world, ASKED).code is RefusalCode.HOMING
    world.command(ev.Jog({}))
    world.run_for(1 * S)
    assert homing_of(world).state is not HomingState.FAILED


def test_where_the_owner_wants_it_a_joint_homes_only_while_a_control_is_held() -> None:
    arm = replace(small_arm(1), homing_while_held=True)
    world = World(arm, units(arm, 1), "none", 1)
    until(world, lambda: all_up(world))
    refused = refusal(world, ev.Home())
    assert refused.code is RefusalCode.HELD_ONLY
    assert "homing_while_held" in refused.message
    world.run_for(1 * S)
    assert at_rest(world)
    hold(world, 10 * S)
    assert link(world, "base").homed


@settings(max_examples=15)
@given(
    presses=st.lists(
        st.tuples(st.integers(0, 900_000), st.integers(0, 900_000), st.booleans()),
        min_size=1,
        max_size=5,
    )
)
def test_however_a_hand_presses_the_joint_never_turns_longer_than_its_hold_and_the_expiries(
    presses: list[tuple[int, int, bool]],
) -> None:
    world = world_up(EVEN, count=1)
    for held_us, idle_us, explicitly in presses:
        with contextlib.suppress(ev.Refused):  # it brakes still, or is homed
            hold(world, held_us)
        if explicitly:
            world.command(ev.Jog({}))
        let_go_us = world.now
        world.run_for(idle_us)
        allowed_us = WISH_US if explicitly else JOG_RENEWAL_US + EXPIRY_US
        if world.now - let_go_us >= allowed_us + braking_us(world):
            assert at_rest(world)


# ---- what is seen before -------------------------------------------------------------------------


def ways(world: World) -> dict[str, HomingWay]:
    """By joint."""
    return {one.joint: one for one in homing_ways(world.arm, world.core.links, world.laptop.now)}


def test_ways_are_told_in_the_order_of_homing_with_the_arm_files_figures_and_words() -> None:
    arm = small_arm()
    joints = (replace(arm.joints[0], may_collide="the tray"), *arm.joints[1:])
    world = World(replace(arm, joints=joints), units(arm, 1), "none", 1)
    until(world, lambda: all_up(world))
    told = ways(world)
    assert tuple(told) == arm.homing_order
    base = told["base"]
    assert (base.angle_known, base.searches, base.travel_deg) == (False, "smaller", 190.0)
    assert (base.speed_deg_s, base.backoff_deg, base.may_collide) == (30.0, 2.0, "the tray")
    assert told["tip"].may_collide == ""
    assert base.on_sensor is False


def test_joint_on_its_sensor_and_one_that_is_not_heard_are_told_as_such() -> None:
    world = world_up()
    home(world)
    assert all(one.angle_known and one.on_sensor for one in ways(world).values())
    world.kill_joint("tip")
    world.run_for(2 * S)
    tip = ways(world)["tip"]
    assert (tip.angle_known, tip.on_sensor) == (False, None)


def test_joint_turns_towards_the_angles_that_were_told_and_no_further_than_told() -> None:
    world = world_up()
    before, told = positions(world), ways(world)
    home(world)
    for one, begin, end in zip(links(world), before, positions(world), strict=True):
        turned_deg = (end - begin) / one.joint.counts_per_degree
        assert (turned_deg > 0) is (told[one.name].searches == "larger")
        assert abs(turned_deg) <= told[one.name].travel_deg
