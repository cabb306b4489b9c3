"""Reduced current at rest: judged by what joints truly did, never by what they tell."""

from dataclasses import replace
from functools import cache

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coordinator.config.idle_current import IdleCurrent
from coordinator.core import events as ev
from coordinator.core.run import Phase
from coordinator.core.snapshot.joint import joint_snapshot
from coordinator.rehearsal.world import World
from protocol.constants import CURRENT_SETTLE_US
from protocol.states import AT_REST, JointState
from tests.campaign.clone import clone
from tests.coordinator.core.kit import (
    S,
    all_up,
    finish,
    home,
    link,
    moving,
    of_kind,
    play,
    run_of,
    small_arm,
    state,
    states,
    truth,
    unit,
    units,
    until,
    until_phase,
)

AFTER_S = 3.0
LOADED = "middle"
"""The joint that holds a load."""


def idle_world(profile: str = "none", after_s: float = AFTER_S, older: str = "") -> World:
    """A homed arm that reduces currents at rest; the `older` joint is of an older build."""
    return clone(homed(profile, after_s, older))


@cache
def homed(profile: str, after_s: float, older: str) -> World:
    """The same, once for all tests: each goes on from a copy."""
    arm = small_arm()
    joints = tuple(
        replace(joint, touch=False, holds_load=joint.name == LOADED) for joint in arm.joints
    )
    arm = replace(arm, joints=joints, idle_current=IdleCurrent(0.5, after_s))
    made = units(arm, 1)
    for one in made:
        one.joint.reduces_current = one.settings.name != older
    world = World(arm, made, profile, 1)
    until(world, lambda: all_up(world), 30 * S)
    home(world)
    world.run_for(200_000)
    truth(world)
    return world


def reduced(world: World) -> dict[str, bool]:
    """By joint, whether its motor truly has less current."""
    return {one.settings.name: one.joint.reduced for one in world.units}


def unsettled(world: World) -> list[bool]:
    """Whether the motors have less than their full current, or not for long enough."""
    return [
        one.by_value(world.now, lambda joint, now: joint.status(now).reduced) for one in world.units
    ]


def run_watched(world: World, duration_us: int) -> None:
    """Let time pass and look that nothing moves while any joint has a reduced current."""
    end_us = world.now + duration_us
    while world.now < end_us:
        world.run_for(min(20_000, end_us - world.now))
        moves = [now for now in states(world) if now not in AT_REST]
        assert not (moves and any(unsettled(world))), reduced(world)
        assert not reduced(world)[LOADED]


def assert_truth(world: World) -> None:
    """No start, resume, hold, finish or stop on reduced or unsettled current."""
    for name, events in truth(world).items():
        is_reduced, full_ns = False, -(10**12)
        for event in events:
            if event.event.startswith("current-"):
                assert name != LOADED
                is_reduced = event.event == "current-reduced"
                full_ns = full_ns if is_reduced else event.at_ns
            elif event.event in ("start", "resume"):
                assert not is_reduced
                # The joint counts the time by its own clock.
                assert event.at_ns - full_ns >= 999 * CURRENT_SETTLE_US
            elif event.event in ("hold", "finish", "stop", "home"):
                assert not is_reduced


def test_currents_are_reduced_after_the_set_rest_but_never_that_of_a_load() -> None:
    world = idle_world()
    run_watched(world, round(AFTER_S * S) - 400_000)
    assert not any(reduced(world).values())
    run_watched(world, 1 * S)
    assert reduced(world) == {"base": True, "middle": False, "tip": True}
    shown = [joint_snapshot(world.core, one, world.now) for one in world.core.links]
    assert [one.reduced for one in shown] == [True, False, True]
    assert [one.full_current_because for one in shown] == ["", "it holds a load", ""]


def test_reduced_current_heats_less() -> None:
    world = idle_world()
    full = {one.settings.name: one.watts for one in world.units}
    world.run_for(round(AFTER_S * S) + 1 * S)
    less = {one.settings.name: one.watts for one in world.units}
    assert less[LOADED] == full[LOADED]
    # I²R of the winding: half the current, a quarter of the heat; the electronics draw on.
    for name in ("base", "tip"):
        electronics = unit(world, name).settings.idle_watts
        assert less[name] - electronics == pytest.approx((full[name] - electronics) / 4)


@pytest.mark.parametrize("profile", ["none", "hostile"])
def test_no_joint_is_jogged_before_all_have_their_full_current(profile: str) -> None:
    world = idle_world(profile)
    world.run_for(round(AFTER_S * S) + 2 * S)
    assert reduced(world)["base"]
    for _ in range(30):
        world.command(ev.Jog({"middle": 5.0}))
        run_watched(world, 100_000)
    assert state(world, "middle") not in AT_REST
    world.command(ev.Jog({}))
    run_watched(world, 1 * S)
    assert_truth(world)


def test_current_that_is_reduced_just_as_a_jog_is_asked_for_is_full_before_it_begins() -> None:
    world = idle_world()
    until(world, lambda: reduced(world)["base"])
    assert not any(one.status is not None and one.status.reduced for one in world.core.links)
    for _ in range(10):
        world.command(ev.Jog({"middle": 5.0}))
        run_watched(world, 100_000)
    assert state(world, "middle") not in AT_REST


def test_run_starts_once_the_full_current_has_settled_and_keeps_it_until_it_rests() -> None:
    world = idle_world()
    world.run_for(round(AFTER_S * S) + 1 * S)
    truth(world)
    play(world)
    run_watched(world, 10 * S)
    finish(world)
    run_watched(world, round(AFTER_S * S))
    assert reduced(world)["tip"]
    assert_truth(world)


def test_held_run_reduces_currents_and_resumes_with_the_full_ones() -> None:
    world = idle_world()
    moving(world)
    world.command(ev.Hold())
    until_phase(world, Phase.HELD)
    run_watched(world, round(AFTER_S * S) + 1 * S)
    assert reduced(world)["base"]
    world.command(ev.Resume())
    run_watched(world, 10 * S)
    finish(world)
    assert len(of_kind(truth(world), "resume")["base"]) == 1


@cache
def held_apart() -> World:
    """To be copied: a held run whose joints stand at different path times, all long at rest."""
    world = idle_world()
    moving(world)
    world.cut("tip", 500_000, ["forward"])
    world.run_for(100_000)
    world.command(ev.Hold())
    until_phase(world, Phase.HELD)
    path_us = [one.status.path_us for one in world.core.links if one.status is not None]
    assert max(path_us) - min(path_us) > 50_000
    run_watched(world, round(AFTER_S * S) + 2 * S)
    assert reduced(world) == {"base": True, "middle": False, "tip": True}
    return world


@pytest.mark.parametrize("cut_us", [0, 800_000, 1_600_000])
def test_no_joint_advances_before_all_have_their_full_current(cut_us: int) -> None:
    world = clone(held_apart())
    if cut_us:
        world.cut("tip", cut_us, ["forward"])
    world.command(ev.Resume())
    run_watched(world, 10 * S)
    finish(world)
    assert_truth(world)


def test_resume_that_waited_for_a_joint_in_vain_names_it() -> None:
    world = clone(held_apart())
    world.cut("tip", 4 * S, ["forward"])
    world.command(ev.Resume())
    until_phase(world, Phase.HELD)
    assert run_of(world).cause.startswith("tip did not get ready: it is offline")


def test_advance_goes_on_while_another_joint_comes_back_with_a_reduced_current() -> None:
    world = clone(held_apart())
    world.command(ev.Resume())
    until(world, lambda: state(world, "middle") is JointState.ADVANCING)
    truth(world)
    world.cut("base", round(AFTER_S * S) + 1_500_000, ["forward"])
    until(world, lambda: reduced(world)["base"])
    until(world, lambda: not reduced(world)["base"])
    assert state(world, "middle") is JointState.ADVANCING
    until(world, lambda: state(world, "middle") is not JointState.ADVANCING)
    assert state(world, "middle") is JointState.ARMED


def test_joint_that_is_away_is_counted_only_until_it_rests_by_its_own_rules() -> None:
    world = idle_world()
    world.command(ev.Jog({"tip": 5.0}))
    world.run_for(200_000)
    assert state(world, "tip") is JointState.JOGGING
    world.cut("tip", 60 * S)
    world.run_for(1_500_000)
    assert world.core.currents.is_asked
    run_watched(world, round(AFTER_S * S) + 5 * S)
    assert reduced(world) == {"base": True, "middle": False, "tip": True}


def test_homing_goes_on_while_another_joint_comes_back_with_a_reduced_current() -> None:
    world = idle_world(after_s=1.0)
    truth(world)
    world.command(ev.Home(("tip",)))
    until(world, lambda: state(world, "tip") is JointState.HOMING)
    world.cut("base", 1_500_000, ["forward"])
    until(world, lambda: reduced(world)["base"])
    until(world, lambda: not reduced(world)["base"])
    assert state(world, "tip") is JointState.HOMING
    until(world, lambda: state(world, "tip") is not JointState.HOMING)
    assert state(world, "tip") is JointState.READY
    assert len(of_kind(truth(world), "home")["tip"]) == 1


@pytest.mark.parametrize("asks", ["home", "jog"])
def test_after_a_run_has_ended_homing_and_jogging_bring_the_full_current_back(asks: str) -> None:
    world = idle_world()
    play(world)
    finish(world)
    world.run_for(round(AFTER_S * S) + 1 * S)
    assert reduced(world)["base"]
    if asks == "home":
        home(world)
    else:
        for _ in range(10):
            world.command(ev.Jog({"base": 5.0}))
            run_watched(world, 100_000)
        assert state(world, "base") is JointState.JOGGING
    assert_truth(world)


def test_homing_of_one_joint_waits_for_the_full_current_of_all() -> None:
    world = idle_world()
    world.run_for(round(AFTER_S * S) + 1 * S)
    world.command(ev.Home(("tip",)))
    run_watched(world, 10 * S)
    assert_truth(world)


def test_joint_of_an_older_build_is_configured_as_ever_and_keeps_its_full_current() -> None:
    world = idle_world(older="tip")
    world.run_for(round(AFTER_S * S) + 1 * S)
    assert reduced(world) == {"base": True, "middle": False, "tip": False}
    shown = joint_snapshot(world.core, link(world, "tip"), world.now)
    assert shown.full_current_because == "its firmware cannot reduce it"
    assert not shown.configuration_message


HANDS = st.lists(
    st.tuples(
        st.sampled_from(["jog", "step", "play", "hold", "resume", "stop", "home", "wait"]),
        st.sampled_from([50_000, 700_000, 2_500_000]),
    ),
    max_size=12,
)
COMMANDS: dict[str, ev.Command] = {
    "jog": ev.Jog({"middle": 8.0}), "step": ev.Step("tip", 1.0, 6.0), "hold": ev.Hold(),
    "resume": ev.Resume(), "stop": ev.Stop(), "home": ev.Home(("tip",)),
}  # fmt: skip


@settings(max_examples=6)
@given(hands=HANDS, profile=st.sampled_from(["none", "busy"]))
def test_no_joint_ever_moves_on_reduced_current_whatever_hands_do(
    hands: list[tuple[str, int]], profile: str
) -> None:
    world = idle_world(profile, after_s=1.0)
    for what, wait_us in hands:
        try:
            if what == "play":
                play(world)
            elif what != "wait":
                world.command(COMMANDS[what])
        except ev.Refused:
            pass
        run_watched(world, wait_us)
    assert_truth(world)
