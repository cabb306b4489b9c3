"""Which joints the coordinator uses: those of its arm file, each once, with the arm's key."""

from dataclasses import replace

from coordinator.core import events as ev
from coordinator.core.link import LinkState
from coordinator.rehearsal.world import World
from protocol.discovery import Announcement
from tests.coordinator.core.kit import (
    S,
    all_up,
    homed_world,
    link,
    moving,
    refusal,
    until,
    world_up,
)


def tell(world: World, event: ev.Event) -> None:
    """Let the first laptop's network say something."""
    world.core.handle(event, world.station.arm(world.now))
    world.run_for(1_000)


def noted(world: World) -> list[str]:
    """Codes of what the coordinator told people."""
    return [note.code for note in world.core.outbox.notes]


def found(world: World, name: str) -> ev.Found:
    return next(iter(link(world, name).instances.values()))


def test_a_joint_that_is_not_in_the_arm_file_is_named_once_and_left_alone() -> None:
    world = world_up("none")
    stranger = ev.Found("stranger", "10.0.0.9", 80, Announcement("ffffffffffff", "1", 81))
    tell(world, stranger)
    tell(world, stranger)
    assert noted(world).count("joint-unknown") == 1
    assert set(world.core.members.unknown) == {"stranger"}
    tell(world, ev.Gone("stranger"))
    assert world.core.members.unknown == {}


def test_a_stranger_that_is_silent_is_listed_no_more() -> None:
    world = world_up("none")
    stranger = ev.Found("stranger", "10.0.0.9", 80, Announcement("ffffffffffff", "1", 81))
    tell(world, stranger)
    tell(world, ev.Silent("stranger"))
    assert world.core.members.unknown == {}
    tell(world, stranger)
    assert set(world.core.members.unknown) == {"stranger"}
    assert noted(world).count("joint-unknown") == 1  # however often it comes and goes


def test_a_joint_of_the_arm_that_is_silent_is_still_tried() -> None:
    world = world_up("none")
    known = found(world, "tip")
    world.kill_joint("tip")
    until(world, lambda: not link(world, "tip").up)
    tell(world, ev.Silent(known.instance))
    assert link(world, "tip").connect_us is not None
    assert found(world, "tip") == known


def test_a_second_joint_of_one_id_that_lost_power_does_not_keep_the_first_out() -> None:
    world = world_up("none")
    tell(world, replace(found(world, "tip"), instance="another", stream_port=99))
    assert link(world, "tip").state is LinkState.CONFLICT
    tell(world, ev.Silent("another"))
    until(world, lambda: all_up(world))


def test_two_joints_with_one_id_are_both_left_alone_until_one_says_goodbye() -> None:
    world = world_up("none")
    tell(world, replace(found(world, "tip"), instance="another", stream_port=99))
    assert link(world, "tip").state is LinkState.CONFLICT
    assert "two joints announce id" in refusal(world, ev.Home()).message
    tell(world, replace(found(world, "tip"), instance="a third", stream_port=98))
    told = refusal(world, ev.Home()).message
    assert "3 joints announce id" in told
    assert told.endswith("none is used")
    tell(world, ev.Gone("a third"))
    tell(world, ev.Gone("another"))
    until(world, lambda: all_up(world))


def test_two_joints_with_one_id_under_one_name_are_found_out_by_their_address() -> None:
    world = world_up("none")
    known = found(world, "tip")
    tell(world, replace(known, stream_port=99))
    assert link(world, "tip").state is LinkState.CONFLICT
    # Both go on to announce themselves: that changes nothing.
    tell(world, known)
    tell(world, replace(known, stream_port=99))
    assert link(world, "tip").state is LinkState.CONFLICT
    assert noted(world).count("joint-conflict") == 1
    tell(world, ev.Gone(known.instance))
    until(world, lambda: all_up(world))


def test_a_joint_that_was_silent_may_come_back_at_another_address() -> None:
    world = world_up("none")
    known = found(world, "tip")
    world.cut("tip", 10 * S)
    world.run_for(2 * S)
    tell(world, replace(known, stream_port=99))
    assert link(world, "tip").state is not LinkState.CONFLICT
    assert found(world, "tip").stream_port == 99


def test_a_wrong_key_is_named_and_nothing_may_be_asked_of_the_arm() -> None:
    world = homed_world("none")
    tip = link(world, "tip")
    tell(world, ev.LinkDown(tip.joint.id, "key-wrong", "it does not hold this arm's key"))
    assert tip.state is LinkState.REFUSED
    assert "link-key-wrong" in noted(world)
    refused = refusal(world, ev.Home())
    assert refused.code == "joint-absent"
    assert "key" in refused.message


def test_a_second_joint_in_the_middle_of_a_run_ends_nothing_but_its_own_link() -> None:
    world = homed_world("none")
    moving(world)
    tell(world, replace(found(world, "tip"), instance="another", stream_port=99))
    until(world, lambda: world.core.run is not None and world.core.run.phase.value == "held")
    assert link(world, "tip").state is LinkState.CONFLICT
