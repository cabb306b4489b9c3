"""Jog: joints move while the control is held, and never longer."""

import contextlib
from dataclasses import replace

import pytest

from coordinator.core import events as ev
from coordinator.rehearsal.world import World
from protocol.constants import EXPIRY_US
from protocol.states import JointState
from tests.coordinator.core.kit import (
    EVEN,
    S,
    at_rest,
    finish,
    homed_world,
    link,
    play,
    positions,
    refusal,
    state,
    unit,
    until,
    world_up,
)

BRAKING_US = 500_000
"""60 °/s at 120 °/s² (facts.md, Motion)."""


def speed(world: World, name: str) -> float:
    """True speed in degrees per second of joint time."""
    velocity = unit(world, name).true_position(world.now)[1]
    return velocity / world.arm.joint(name).counts_per_degree


def jog_for(world: World, name: str, velocity: float, duration_us: int) -> None:
    """Hold the control: the command comes again every 100 ms."""
    for _ in range(duration_us // 100_000):
        world.command(ev.Jog({name: velocity}))
        world.run_for(100_000)


@pytest.mark.parametrize("velocity", [10.0, -10.0, 60.0])
def test_a_joint_jogs_at_the_speed_asked_for_and_only_that_joint(velocity: float) -> None:
    world = homed_world("none")
    jog_for(world, "middle", velocity, 1 * S)
    assert speed(world, "middle") == pytest.approx(velocity, rel=1e-3)
    assert speed(world, "base") == speed(world, "tip") == 0.0
    assert world.core.jogging == [link(world, "middle")]


@pytest.mark.parametrize("profile", ["none", "home"])
def test_a_control_that_is_let_go_without_a_word_stops_the_joint(profile: str) -> None:
    world = homed_world(profile)
    jog_for(world, "tip", 20.0, 1 * S)
    world.run_for(300_000 + EXPIRY_US + BRAKING_US)
    assert at_rest(world)
    assert world.core.jogging == []
    place = positions(world)
    world.run_for(5 * S)
    assert positions(world) == place


def test_velocity_zero_brakes_at_once_and_frees_the_arm() -> None:
    world = homed_world("none")
    jog_for(world, "tip", 20.0, 1 * S)
    world.command(ev.Jog({"tip": 0.0}))
    assert world.core.jogging == []
    world.run_for(200_000)  # 20 °/s at 120 °/s²
    assert at_rest(world)


def test_a_joint_that_is_cut_off_stops_within_its_permission_and_its_braking() -> None:
    world = homed_world("none")
    jog_for(world, "tip", 60.0, 700_000)
    world.cut("tip", 5 * S)
    for _ in range(8):
        world.command(ev.Jog({"tip": 60.0}))
        world.run_for(100_000)
    assert at_rest(world)


@pytest.mark.parametrize("loss", ["stop", "outage", "boot"])
def test_a_control_held_through_a_stop_or_a_loss_moves_nothing_until_it_is_let_go(
    loss: str,
) -> None:
    world = homed_world(EVEN)
    jog_for(world, "tip", 20.0, 500_000)
    if loss == "stop":
        world.command(ev.Stop())
    elif loss == "boot":
        world.kill_joint("tip")
        world.restart_joint("tip")
    else:
        world.cut("tip", 2 * S)
    place = None
    refused: list[str] = []
    for k in range(60):
        try:
            world.command(ev.Jog({"tip": 20.0}))
        except ev.Refused as error:
            refused.append(error.code)
        world.run_for(100_000)
        if k == 20:
            place = positions(world)
    assert positions(world) == place
    assert len(refused) > 38
    assert set(refused[-30:]) <= {"jog-ended", "joint-offline"}
    world.run_for(400_000)
    jog_for(world, "tip", 2.0, 500_000)
    assert speed(world, "tip") == pytest.approx(2.0, rel=1e-2)


def test_an_unhomed_joint_jogs_no_faster_than_its_search_speed() -> None:
    world = world_up("none")
    jog_for(world, "tip", 60.0, 1_500_000)
    assert 0.0 < speed(world, "tip") <= 30.0 * (1 + 5e-4)
    assert state(world, "tip") is JointState.JOGGING


@pytest.mark.parametrize("velocity", [60.0, -60.0])
def test_a_joint_whose_home_wandered_jogs_and_steps_no_faster_than_one_that_is_not_homed(
    velocity: float,
) -> None:
    world = homed_world("none", count=1)
    one = link(world, "base")
    assert one.home is not None
    one.home = replace(one.home, wandered_deg=0.5)
    jog_for(world, "base", velocity, 1 * S)
    slow = one.joint.homing.fast_deg_s
    assert abs(speed(world, "base")) == pytest.approx(slow, rel=1e-3)
    world.command(ev.Jog({}))
    until(world, lambda: one.rests(world.laptop.now))
    world.command(ev.Step("base", -velocity / 4, 60.0))
    fastest = 0.0
    for _ in range(100):
        world.run_for(10_000)
        fastest = max(fastest, abs(speed(world, "base")))
    assert fastest == pytest.approx(slow, rel=1e-3)
    world.core.accept_home("base", one.home.homing, "somebody", world.laptop.now)
    until(world, lambda: not world.core.jogging and one.rests(world.laptop.now))
    jog_for(world, "base", velocity / 2 * 1.5, 1 * S)
    assert abs(speed(world, "base")) == pytest.approx(45.0, rel=1e-3)


def test_a_jog_never_passes_the_end_of_the_range() -> None:
    world = homed_world("none")
    jog_for(world, "tip", 60.0, 4 * S)
    end = world.arm.joint("tip").to_counts(90.0)
    assert at_rest(world)
    assert unit(world, "tip").true_position(world.now)[0] == pytest.approx(end, abs=256)


@pytest.mark.parametrize("velocity", [60.001, -1e9, float("nan"), float("inf")])
def test_a_jog_beyond_the_joints_velocity_is_refused_and_changes_nothing(velocity: float) -> None:
    world = world_up("none")
    refused = refusal(world, ev.Jog({"tip": velocity}))
    assert refused.code == "jog-speed"
    assert "60 °/s" in refused.message
    world.run_for(1 * S)
    assert not unit(world, "tip").joint.energised


def test_a_jog_is_refused_while_a_program_plays() -> None:
    world = homed_world("none")
    play(world)
    assert refusal(world, ev.Jog({"tip": 1.0})).code == "running"
    assert refusal(world, ev.Step("tip", 1.0, 1.0)).code == "running"


def test_joints_jog_together_and_one_that_is_named_no_more_is_let_go() -> None:
    world = homed_world("none")
    for _ in range(10):
        world.command(ev.Jog({"base": 10.0, "tip": -5.0}))
        world.run_for(100_000)
    assert speed(world, "base") == pytest.approx(10.0, rel=1e-3)
    assert speed(world, "tip") == pytest.approx(-5.0, rel=1e-3)
    assert [one.name for one in world.core.jogging] == ["base", "tip"]
    jog_for(world, "tip", -5.0, 1 * S)
    assert speed(world, "base") == 0.0
    assert speed(world, "tip") == pytest.approx(-5.0, rel=1e-3)


def test_a_joint_that_is_lost_in_a_jog_of_several_ends_it_for_all() -> None:
    world = homed_world("none")
    for _ in range(5):
        world.command(ev.Jog({"base": 10.0, "tip": -5.0}))
        world.run_for(100_000)
    world.cut("tip", 5 * S)
    for _ in range(20):
        with contextlib.suppress(ev.Refused):
            world.command(ev.Jog({"base": 10.0, "tip": -5.0}))
        world.run_for(100_000)
    assert at_rest(world)


def test_one_joint_that_cannot_be_jogged_refuses_the_jog_of_all_and_changes_nothing() -> None:
    world = homed_world("none")
    assert refusal(world, ev.Jog({"base": 10.0, "tip": 61.0})).code == "jog-speed"
    assert refusal(world, ev.Jog({"base": 10.0, "nose": 1.0})).code == "joint-unknown"
    world.run_for(1 * S)
    assert at_rest(world)
    assert world.core.jogging == []


def test_a_play_after_a_jog_begins_where_the_joint_was_left() -> None:
    world = homed_world("home")
    jog_for(world, "tip", 10.0, 1 * S)
    world.command(ev.Jog({"tip": 0.0}))
    until(world, lambda: all(one.status and one.status.state is JointState.READY
                             for one in world.core.links) and at_rest(world))  # fmt: skip
    world.run_for(500_000)
    play(world)
    finish(world)


def test_a_hold_ends_a_jog_until_the_control_is_let_go() -> None:
    world = homed_world("none")
    jog_for(world, "tip", 20.0, 500_000)
    world.command(ev.Hold())
    assert world.core.jogging == []
    world.run_for(200_000)  # 20 °/s at 120 °/s²
    assert at_rest(world)
    assert refusal(world, ev.Jog({"tip": 20.0})).code == "jog-ended"
    world.run_for(400_000)
    jog_for(world, "tip", 2.0, 500_000)
    assert speed(world, "tip") == pytest.approx(2.0, rel=1e-2)
