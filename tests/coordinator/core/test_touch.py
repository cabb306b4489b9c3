"""A joint's own control is heard: turns and presses since the status before, and nothing older."""

from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.core import events as ev
from coordinator.core.touch import TouchWatch
from coordinator.rehearsal.world import World
from protocol.constants import ACTIVE_INTERVAL_US, IDLE_INTERVAL_US
from tests.coordinator.core.kit import (
    S,
    at_rest,
    homed_world,
    link,
    positions,
    small_arm,
    unit,
    units,
    wiretap,
)


def touched(world: World, name: str = "tip") -> list[ev.Touched]:
    """What is told while a second passes, by a watch of its own."""
    watch, found = TouchWatch(), []
    watch.observe(link(world, name), world.now, world.now)
    for _ in range(25):
        world.run_for(S // 25)
        told = watch.observe(link(world, name), world.now, world.now)
        if told is not None:
            found.append(told)
    return found


@pytest.mark.parametrize("turn", [1, -3, 40])
def test_turns_and_presses_are_told_once_and_move_nothing_by_themselves(turn: int) -> None:
    world = homed_world("none", touch=True)
    place = positions(world)
    assert touched(world) == []
    joint = unit(world, "tip").joint
    joint.touch_turn += turn
    joint.touch_presses += 2
    joint.touch_long_presses += 1
    assert touched(world) == [ev.Touched("tip", turn, 2, 1)]
    assert touched(world) == []
    assert at_rest(world)
    assert positions(world) == place


@pytest.mark.parametrize(
    ("listens", "interval_us"), [(True, ACTIVE_INTERVAL_US), (False, IDLE_INTERVAL_US)]
)
def test_an_arm_at_rest_is_asked_often_only_where_a_control_is_listened_to(
    listens: bool, interval_us: int
) -> None:
    arm = small_arm()
    deaf = replace(arm, joints=tuple(replace(one, touch=False) for one in arm.joints))
    some = replace(deaf, joints=(*deaf.joints[:-1], arm.joints[-1]))
    made = some if listens else deaf
    world = World(made, units(made, 1), "none", 1)
    world.run_for(20 * S)  # by then the links are measured
    wire = wiretap(world)
    world.run_for(4 * S)
    for joint in made.joints:
        sent_us = [at_us for at_us, action in wire.drives if action.joint_id == joint.id]
        apart_us = [after - before for before, after in pairwise(sent_us)]
        assert set(apart_us) == {interval_us}


def test_what_was_counted_before_a_joint_was_heard_or_before_its_restart_is_no_touch() -> None:
    world = homed_world("none", touch=True)
    unit(world, "tip").joint.touch_presses = 9
    world.run_for(1 * S)
    watch = TouchWatch()
    assert watch.observe(link(world, "tip"), world.now, world.now) is None
    world.kill_joint("tip")
    world.restart_joint("tip")
    world.run_for(10 * S)
    assert link(world, "tip").status is not None
    assert watch.observe(link(world, "tip"), world.now, world.now) is None


def test_what_was_done_while_a_joint_was_not_heard_is_not_obeyed_when_it_is_again() -> None:
    world = homed_world("none", touch=True)
    watch = TouchWatch()
    watch.observe(link(world, "tip"), world.now, world.now)
    world.cut("tip", 3 * S)
    unit(world, "tip").joint.touch_turn += 60
    unit(world, "tip").joint.touch_presses += 1
    world.run_for(5 * S)
    status = link(world, "tip").status
    assert status is not None
    assert status.touch_turn == 60
    assert watch.observe(link(world, "tip"), world.now, world.now) is None
    unit(world, "tip").joint.touch_turn += 1
    world.run_for(S // 2)
    assert watch.observe(link(world, "tip"), world.now, world.now) == ev.Touched("tip", 1, 0, 0)


def test_what_may_have_been_done_before_an_answer_that_was_long_on_its_way_is_not_obeyed() -> None:
    world = homed_world("none", touch=True)
    watch, one = TouchWatch(), link(world, "tip")
    watch.observe(one, 0, 900_000)
    unit(world, "tip").joint.touch_turn += 1
    world.run_for(S // 2)
    # It was asked for 0.2 s ago, but the count before it was of 1.1 s ago.
    assert watch.observe(one, 900_000, 1_100_000) is None
    unit(world, "tip").joint.touch_turn += 1
    world.run_for(S // 2)
    assert watch.observe(one, 1_000_000, 1_200_000) == ev.Touched("tip", 1, 0, 0)


def test_what_was_done_while_the_laptop_slept_is_not_obeyed_when_it_wakes() -> None:
    world = homed_world("none", touch=True)
    told: list[ev.Touched] = []
    world.laptop.on_touch = told.append
    world.run_for(1 * S)
    world.laptop.sleep(10 * S)
    world.run_for(5 * S)
    unit(world, "tip").joint.touch_turn += 60
    unit(world, "tip").joint.touch_presses += 1
    world.run_for(15 * S)
    status = link(world, "tip").status
    assert status is not None
    assert status.touch_turn == 60
    assert told == []
    unit(world, "tip").joint.touch_turn += 1
    world.run_for(S // 2)
    assert told == [ev.Touched("tip", 1, 0, 0)]


def test_what_a_laptop_heard_before_it_knew_that_it_had_slept_is_told_to_nobody() -> None:
    world = homed_world("none", touch=True)
    world.core.outbox.actions.append(ev.Touched("tip", 1, 0, 0))
    world.core.handle(ev.HostSlept(10 * S, 99), world.laptop.now)
    actions = world.core.poll(world.laptop.now)
    assert actions
    assert not [one for one in actions if isinstance(one, ev.Touched)]


@given(st.integers(-(2**15), 2**15 - 1), st.integers(-(2**14), 2**14))
def test_turns_are_told_rightly_where_their_count_wraps(before: int, turn: int) -> None:
    # i16 and u16 as in the wire document's table of the status.
    world = homed_world_once()
    one, watch = link(world, "tip"), TouchWatch()
    joint = unit(world, "tip").joint
    joint.touch_turn = before
    world.run_for(S // 2)
    watch.observe(one, world.now, world.now)
    joint.touch_turn = (before + turn + 2**15) % 2**16 - 2**15
    world.run_for(S // 2)
    told = watch.observe(one, world.now, world.now)
    assert (told.turn if told else 0) == turn


_WORLDS: list[World] = []


def homed_world_once() -> World:
    """One for all examples: only a count changes in it."""
    if not _WORLDS:
        _WORLDS.append(homed_world("none", touch=True))
    return _WORLDS[0]
