"""One word for a joint's link wherever it is told, with why in words."""

import pytest

from coordinator.codes.link_word import LinkWord
from coordinator.core import events as ev
from coordinator.core.condition import condition
from coordinator.core.link.words import link_word, not_heard, why_offline
from coordinator.core.machine import Coordinator
from coordinator.core.run import Phase
from coordinator.core.snapshot.arm import arm_snapshot
from coordinator.rehearsal.world import World
from tests.coordinator.core.kit import (
    EVEN,
    S,
    codes,
    homed_world,
    link,
    moving,
    refusal,
    small_arm,
    until,
    until_phase,
    world_up,
)


def word(world: World, name: str) -> LinkWord:
    return link_word(link(world, name), world.laptop.now)


def why(world: World, name: str) -> str:
    return why_offline(link(world, name), world.laptop.now)


def test_a_joint_that_is_heard_is_up_and_while_its_stream_is_opened_anew_it_is_connecting() -> None:
    world = world_up(EVEN)
    assert word(world, "tip") is LinkWord.UP
    world.break_stream("tip")
    assert word(world, "tip") is LinkWord.CONNECTING
    assert why(world, "tip") == "it answers no pings"
    until(world, lambda: link(world, "tip").up, 2 * S)
    assert word(world, "tip") is LinkWord.UP


def test_a_joint_is_offline_after_a_second_though_its_stream_stands_for_longer() -> None:
    world = homed_world("none")
    world.kill_joint("tip")
    until(world, lambda: word(world, "tip") is LinkWord.OFFLINE, 2 * S)
    assert link(world, "tip").up
    assert why(world, "tip") == "silent for 1.0 s"
    world.run_for(400_000)
    assert why(world, "tip") == "silent for 1.4 s"
    until(world, lambda: not link(world, "tip").up, 15 * S)
    assert word(world, "tip") is LinkWord.OFFLINE
    assert "silent" not in why(world, "tip")


def test_twins_are_the_first_thing_told_of_a_joint() -> None:
    world = world_up(EVEN)
    link(world, "tip").connection.twins_found("2 joints prove id 0a0b0c")
    assert word(world, "tip") is LinkWord.CONFLICT
    assert why(world, "tip") == "2 joints prove id 0a0b0c"
    link(world, "tip").connection.twins_gone()
    assert word(world, "tip") is LinkWord.UP


@pytest.mark.parametrize(
    ("silent_us", "words"),
    [(9_940_000, "9.9 s"), (31_400_000, "31 s"), (119_000_000, "119 s"), (240_000_000, "4 min")],
)
def test_a_long_silence_is_told_no_finer_than_anybody_asks(silent_us: int, words: str) -> None:
    one = link(world_up("none"), "tip")
    assert one.heard_us is not None
    assert why_offline(one, one.heard_us + silent_us) == f"silent for {words}"


def test_the_cause_of_a_lost_joint_is_the_same_wherever_it_is_told() -> None:
    world = homed_world("none")
    moving(world)
    world.kill_joint("tip")
    until_phase(world, Phase.HELD, Phase.ENDED)
    now = world.laptop.now
    assert condition(world.core, now).cause == "tip is offline: it answers no more"
    assert refusal(world, ev.Resume()).message == f"tip is offline: {why(world, 'tip')}"
    (shown,) = [one for one in arm_snapshot(world.core, now).joints if one.name == "tip"]
    assert (shown.link, shown.link_message) == (LinkWord.OFFLINE, why(world, "tip"))


def away(world: World) -> str:
    world.kill_joint("tip")
    until(world, lambda: word(world, "tip") is LinkWord.OFFLINE)
    return f"tip is offline: {why(world, 'tip')}"


@pytest.mark.parametrize(
    "command",
    [ev.Home(("tip",)), ev.Jog({"tip": 5.0}), ev.Blink("tip")],
    ids=["home", "jog", "blink"],
)
def test_what_is_asked_of_a_joint_that_is_offline_is_refused_with_why(command: ev.Command) -> None:
    world = homed_world("none")
    told = away(world)
    if isinstance(command, ev.Blink):
        until(world, lambda: not link(world, "tip").up, 15 * S)
        told = f"tip is offline: {why(world, 'tip')}"
    refused = refusal(world, command)
    assert (refused.code, refused.message) == ("joint-offline", told)


def test_a_joint_that_falls_silent_in_its_homing_ends_it_as_offline() -> None:
    world = world_up("none")
    world.command(ev.Home(("tip",)))
    world.run_for(500_000)
    world.kill_joint("tip")
    homing = world.core.homing
    assert homing is not None
    until(world, lambda: homing.message != "")
    assert homing.message == "tip is offline: it answers no more"


def test_a_warning_of_a_lost_joint_says_offline_and_why() -> None:
    world = homed_world("none")
    away(world)
    until(world, lambda: "joint-offline" in codes(world))
    (note,) = [note for note in world.notes if note.code == "joint-offline"]
    assert note.message == "tip is offline: it answers no more"


def test_what_stands_tells_no_duration_and_stays_the_same_while_it_does() -> None:
    world = homed_world("none")
    away(world)
    until(world, lambda: "joint-offline" in codes(world))
    told = set()
    for _ in range(5):
        arm = arm_snapshot(world.core, world.laptop.now)
        told.add((arm.condition.cause, *(one.message for one in arm.warnings)))
        world.run_for(700_000)
    assert told == {("tip is offline: it answers no more",) * 2}


def test_a_joint_that_was_never_heard_is_told_the_same_wherever_it_is_asked_for() -> None:
    core = Coordinator(small_arm(), bytes(16), 7)
    core.poll(S)
    with pytest.raises(ev.Refused) as caught:
        core.start_counts()
    assert caught.value.message == not_heard(core.links[0])
    assert caught.value.message == "base is offline: not found on the network"
