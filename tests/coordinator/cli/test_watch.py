"""When a stop counts as confirmed, and when the arm is held: by the core's own condition."""

from collections.abc import Callable

import pytest

from coordinator.api.responses.base import plain
from coordinator.api.responses.run import RUN
from coordinator.cli.watch import _place, is_held, is_past_waiting, is_stopped, unstopped
from coordinator.client.reading import read
from coordinator.core import events as ev
from coordinator.core.machine import Coordinator
from coordinator.core.run import Phase
from coordinator.core.snapshot.arm import ArmSnapshot, arm_snapshot
from coordinator.core.snapshot.run import RunSnapshot
from coordinator.core.stop_words import STOP_LEVELS, StopWord
from coordinator.rehearsal.world import World
from tests.coordinator.cli.servers import arm_told
from tests.coordinator.core.kit import (
    EVEN,
    NAMES,
    S,
    at_rest,
    homed_world,
    moving,
    small_arm,
    until,
    until_phase,
    world_up,
)


def told_of(core: Coordinator, now: int) -> ArmSnapshot:
    """A machine's state as a client reads it."""
    return arm_told(arm_snapshot(core, now))


def shown(world: World) -> ArmSnapshot:
    """What `GET /arm` says of it."""
    return told_of(world.core, world.laptop.now)


@pytest.mark.parametrize("level", STOP_LEVELS)
def test_a_stop_is_confirmed_once_every_joint_has_latched_it_and_rests(level: StopWord) -> None:
    world = homed_world(EVEN)
    moving(world)
    world.command(ev.Stop(STOP_LEVELS[level]))
    assert unstopped(shown(world)) == dict.fromkeys(NAMES, "it has not answered to it")
    while not is_stopped(shown(world), level):
        assert not is_past_waiting(shown(world))
        world.run_for(10_000)
    assert at_rest(world)
    assert unstopped(shown(world)) == {}


def test_a_stop_that_keeps_the_current_is_no_stop_that_takes_it() -> None:
    world = homed_world("none")
    world.command(ev.Stop())
    until(world, lambda: is_stopped(shown(world), "stop"))
    assert not is_stopped(shown(world), "stop-and-release")
    assert not is_stopped(shown(world), "release")


def test_a_second_stop_is_not_confirmed_by_the_first_ones_latch() -> None:
    world = homed_world("none")
    world.command(ev.Stop())
    until(world, lambda: is_stopped(shown(world), "stop"))
    world.cut("tip", 2 * S)
    world.command(ev.Stop())
    world.run_for(500_000)
    assert shown(world).condition.word == "stopped"
    assert not is_stopped(shown(world), "stop")
    assert unstopped(shown(world)) == {"tip": "it has not answered to it"}


def test_a_joint_that_the_stop_does_not_reach_is_named_with_why_and_waited_for() -> None:
    world = homed_world("none")
    moving(world)
    world.cut("tip", 60 * S)
    world.command(ev.Stop())
    world.run_for(2 * S)
    assert not is_stopped(shown(world), "stop")
    assert not is_past_waiting(shown(world))  # it was heard once, and may be again
    assert unstopped(shown(world)) == {"tip": "it is offline: silent for 2.0 s"}


def test_a_joint_that_has_latched_the_stop_and_is_lost_then_is_not_known_any_more() -> None:
    world = homed_world("none")
    world.command(ev.Stop())
    until(world, lambda: is_stopped(shown(world), "stop"))
    world.kill_joint("tip")
    world.run_for(2 * S)
    assert not is_stopped(shown(world), "stop")
    assert list(unstopped(shown(world))) == ["tip"]


def test_joints_that_were_never_there_are_not_waited_for_but_named() -> None:
    core = Coordinator(small_arm(), bytes(16), 7)
    core.command(ev.Stop(), S)
    told = told_of(core, S)
    assert is_past_waiting(told)
    assert not is_stopped(told, "stop")
    assert unstopped(told) == dict.fromkeys(NAMES, "it is offline: not found on the network")


def a_run(world: World) -> None:
    moving(world)


def a_jog(world: World) -> None:
    world.command(ev.Jog({"tip": 20.0}))
    world.run_for(300_000)


def a_homing(world: World) -> None:
    world.command(ev.Home())
    world.run_for(500_000)


@pytest.mark.parametrize("act", [a_run, a_jog, a_homing])
def test_what_is_held_is_waited_for_until_it_truly_rests(act: Callable[[World], None]) -> None:
    world = homed_world(EVEN) if act is not a_homing else world_up(EVEN)
    act(world)
    assert not is_held(shown(world))
    world.command(ev.Hold())
    while not is_held(shown(world)):
        world.run_for(10_000)
    assert at_rest(world)


def test_a_joint_that_is_lost_in_a_hold_is_waited_for_only_as_long_as_the_run_does() -> None:
    world = homed_world("none")
    moving(world)
    world.cut("tip", 60 * S)
    world.command(ev.Hold())
    world.run_for(2 * S)
    assert not is_held(shown(world))
    until_phase(world, Phase.HELD)
    assert is_held(shown(world))


def test_times_of_a_part_are_said_to_be_of_it_where_more_follow() -> None:
    run = plain(RUN) | {"line": 7, "path_us": 1_400_000, "end_us": 1_400_000, "loops": 1}

    def said(**of_it: object) -> str:
        return _place(read(RunSnapshot, run | of_it))

    assert said(part=2, parts=3) == (
        ", line 7, 1.4 s of 1.4 s of part 2 of 3, 1 part follows, at 100 %"
    )
    assert ", 1.4 s of 1.4 s of part 1 of 3, 2 parts follow, at" in said(part=1, parts=3)
    assert ", 1.4 s of 1.4 s of part 3 of 3, at" in said(part=3, parts=3)
    assert ", line 7, 1.4 s of 1.4 s, at 100 %" in said(part=1, parts=1)
    assert ", 1.4 s of 1.4 s of part 2, more may follow, at" in said(part=2, parts=None)
