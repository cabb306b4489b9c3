"""Which joints the coordinator uses: those of its arm file, each once, where the key is proved."""

from dataclasses import replace
from itertools import pairwise

import pytest

from coordinator.core import events as ev
from coordinator.core import membership
from coordinator.core.link.connection import LinkState
from coordinator.core.machine import Coordinator
from coordinator.core.run import Phase
from coordinator.rehearsal.world import World
from protocol.discovery import Announcement
from protocol.states import JointState
from tests.coordinator.core.kit import (
    EVEN,
    NAMES,
    S,
    all_up,
    at_rest,
    finish,
    home,
    homed_world,
    link,
    links,
    moving,
    path_us,
    play,
    play_to,
    positions,
    refusal,
    run_of,
    small_arm,
    state,
    until,
    until_phase,
    world_up,
)


def tell(world: World, event: ev.Event) -> None:
    """Let the first laptop's network say something."""
    world.laptop.handle(event)
    world.run_for(1_000)


def noted(world: World) -> list[str]:
    """Codes of what the coordinator told people."""
    return [note.code for note in world.notes]


def found(world: World, name: str, instance: str = "", host: str = "") -> ev.Found:
    """What a joint announces, or a lie about it."""
    said = world.node(name).announcement()
    return replace(said, instance=instance or said.instance, host=host or said.host)


def twin(world: World, name: str, host: str = "twin", boot: int = 77) -> None:
    """A second joint with the id and the key of one announces itself."""
    world.node(name).twins[host] = boot
    tell(world, found(world, name, instance=f"{name}-2", host=host))


# ---- strangers ------------------------------------------------------------------------------


def test_a_joint_that_is_not_in_the_arm_file_is_named_once_and_left_alone() -> None:
    world = world_up("none")
    stranger = ev.Found("stranger", "10.0.0.9", 80, Announcement("ffffffffffff", "1", 81))
    tell(world, stranger)
    tell(world, stranger)
    assert noted(world).count("joint-unknown") == 1
    assert set(world.core.members.strangers.announced) == {"stranger"}
    tell(world, ev.Gone("stranger"))
    assert world.core.members.strangers.announced == {}


def test_a_stranger_that_is_silent_is_listed_no_more() -> None:
    world = world_up("none")
    stranger = ev.Found("stranger", "10.0.0.9", 80, Announcement("ffffffffffff", "1", 81))
    tell(world, stranger)
    tell(world, ev.Silent("stranger"))
    assert world.core.members.strangers.announced == {}
    tell(world, stranger)
    assert set(world.core.members.strangers.announced) == {"stranger"}
    assert noted(world).count("joint-unknown") == 1  # however often it comes and goes


# ---- what is only said ----------------------------------------------------------------------


LIES = {
    "its id": {"instance": "liar", "host": "liar"},
    "its name with another address": {"host": "liar"},
}


@pytest.mark.parametrize("lie", LIES.values(), ids=LIES)
@pytest.mark.parametrize("answers", [True, False])
def test_what_a_stranger_says_of_a_joint_neither_stops_nor_blocks_the_arm(
    lie: dict[str, str], answers: bool
) -> None:
    world = homed_world("quiet")
    if answers:
        world.node("tip").liars.add("liar")
    moving(world)
    tell(world, found(world, "tip", **lie))
    world.run_for(1 * S)
    assert run_of(world).phase is Phase.MOVING
    finish(world)
    tell(world, found(world, "tip", **lie))
    world.run_for(10 * S)
    play(world)
    finish(world)
    assert noted(world).count("address-wrong") == answers
    assert "joint-conflict" not in noted(world)


def test_a_false_goodbye_ends_nothing_and_keeps_no_joint_from_being_found() -> None:
    world = homed_world("quiet")
    moving(world)
    tell(world, ev.Gone("tip"))
    world.run_for(1 * S)
    assert run_of(world).phase is Phase.MOVING
    finish(world)
    # A goodbye, then a gap so long that the stream ends.
    tell(world, ev.Gone("tip"))
    world.cut("tip", 15 * S)
    world.run_for(15 * S)
    assert not link(world, "tip").up
    until(world, lambda: all_up(world), 10 * S)
    play(world)
    finish(world)


def test_any_number_of_lies_costs_few_knocks_and_forgets_neither_the_joint_nor_the_newest() -> None:
    world = world_up("none")
    knocks: list[ev.Knock] = []
    poll = world.core.poll

    def noting(now: int) -> list[ev.Action]:
        actions = poll(now)
        knocks.extend(one for one in actions if isinstance(one, ev.Knock))
        return actions

    world.core.poll = noting  # type: ignore[method-assign]
    for k in range(1_000):
        tell(world, found(world, "tip", instance=f"liar {k}", host=f"liar {k}"))
    world.run_for(1 * S)
    assert len(knocks) <= 2 * 10 + 1  # two seconds, ten a second
    assert knocks[-1].address.host.startswith("liar ")
    assert any(one.address.host == "liar 999" for one in knocks)
    assert all_up(world)
    world.cut("tip", 15 * S)
    world.run_for(15 * S)
    until(world, lambda: all_up(world), 20 * S)


# ---- another address ------------------------------------------------------------------------


def test_a_joint_at_rest_that_gets_another_address_is_used_there_within_two_seconds() -> None:
    world = homed_world("home")
    world.move_joint("tip", "elsewhere")
    until(
        world,
        lambda: link(world, "tip").connection.address != found(world, "tip", host="world").address,
        2 * S,
    )
    until(world, lambda: all_up(world), 2 * S)
    assert "joint-conflict" not in noted(world)
    assert "joint-restarted" not in noted(world)
    play(world)
    finish(world)


def test_a_joint_that_gets_another_address_in_mid_move_is_resumed_there() -> None:
    world = homed_world("quiet")
    moving(world)
    world.move_joint("tip", "elsewhere")
    world.run_for(2 * S)
    if run_of(world).phase is not Phase.MOVING:
        until_phase(world, Phase.HELD)
        until(world, lambda: all_up(world))
        world.command(ev.Resume())
    finish(world)


def test_a_joint_whose_announcement_is_lost_is_asked_for_and_found_at_its_new_address() -> None:
    world = homed_world("none")
    world.move_joint("tip", "elsewhere", is_heard=False)
    until(world, lambda: not link(world, "tip").up, 15 * S)
    until(world, lambda: all_up(world), 15 * S)
    address = link(world, "tip").connection.address
    assert address is not None
    assert address.host == "elsewhere"


def test_a_joint_that_restarts_at_another_address_is_used_there_and_must_be_homed() -> None:
    world = homed_world("quiet")
    world.kill_joint("tip")
    world.run_for(500_000)
    world.restart_joint("tip")
    world.move_joint("tip", "elsewhere")
    until(world, lambda: "joint-restarted" in noted(world), 5 * S)
    until(world, lambda: all_up(world), 5 * S)
    assert state(world, "tip") is JointState.UNHOMED
    assert "joint-conflict" not in noted(world)
    assert noted(world).count("joint-restarted") == 1
    home(world)


def test_a_joint_that_was_silent_may_come_back_at_another_address() -> None:
    world = world_up("none")
    world.cut("tip", 5 * S)
    world.run_for(2 * S)
    world.move_joint("tip", "elsewhere")
    world.run_for(3 * S)
    until(world, lambda: all_up(world), 15 * S)


def test_a_joint_of_the_arm_that_is_away_is_tried_again_and_again_even_after_its_goodbye() -> None:
    world = world_up("none")
    world.kill_joint("tip")
    tell(world, ev.Gone("tip"))
    until(world, lambda: not link(world, "tip").up)
    world.run_for(60 * S)
    assert link(world, "tip").connection.message == "it said goodbye"
    world.restart_joint("tip")
    until(world, lambda: all_up(world), 15 * S)


def test_a_joint_whose_address_the_arm_file_gives_needs_no_announcement() -> None:
    arm = small_arm()
    given = replace(arm.joints[2], address=("192.0.2.7", 8000))
    core = Coordinator(replace(arm, joints=(*arm.joints[:2], given)), bytes(16), 7)
    connects = [one for one in core.poll(S) if isinstance(one, ev.Connect)]
    assert connects == [ev.Connect(given.id, ev.StreamAddress("192.0.2.7", 8000, "/joint"), 7)]
    # It is tried again and again, and never forgotten for what is announced.
    for k in range(20):
        core.handle(ev.LinkDown(given.id, "unreachable", "nobody is there"), (k + 1) * 5 * S)
        said = Announcement(given.id, "1", 81)
        core.handle(ev.Found(f"liar {k}", f"192.0.2.{k + 10}", 80, said), (k + 1) * 5 * S)
        core.poll((k + 1) * 5 * S + 3 * S)
    tip = core.links[2]
    assert ev.StreamAddress("192.0.2.7", 8000, "/joint") in tip.connection.addresses


# ---- twins ----------------------------------------------------------------------------------


def test_two_joints_that_prove_one_id_are_named_and_nothing_is_moved() -> None:
    world = homed_world("none")
    twin(world, "tip")
    until(world, lambda: link(world, "tip").connection.conflict != "", 2 * S)
    told = refusal(world, ev.Home()).message
    assert "tip: 2 joints prove id 000000000003, at twin:1 and world:1; none is moved" in told
    assert refusal(world, ev.Jog({"tip": 5.0})).code == "joint-conflict"
    assert refusal(world, ev.Play("x", "", ())).code == "joint-conflict"
    world.run_for(60 * S)
    assert noted(world).count("joint-conflict") == 1
    assert link(world, "tip").connection.conflict


def test_one_of_three_that_leaves_does_not_end_the_conflict() -> None:
    world = homed_world("none")
    twin(world, "tip")
    twin(world, "tip", "triplet", 78)
    until(world, lambda: link(world, "tip").connection.conflict != "", 2 * S)
    world.run_for(10 * S)
    del world.node("tip").twins["triplet"]
    tell(world, ev.Gone("tip-2"))
    world.run_for(60 * S)
    assert link(world, "tip").connection.conflict
    assert "joint-conflict-over" not in noted(world)
    del world.node("tip").twins["twin"]
    until(world, lambda: not link(world, "tip").connection.conflict, 30 * S)
    assert noted(world).count("joint-conflict-over") == 1
    play(world)
    finish(world)


def test_a_second_joint_that_loses_its_power_without_goodbye_keeps_the_arm_for_seconds_only() -> (
    None
):
    world = homed_world("home")
    twin(world, "tip")
    until(world, lambda: link(world, "tip").connection.conflict != "", 3 * S)
    world.node("tip").twins.clear()
    until(world, lambda: not link(world, "tip").connection.conflict, 30 * S)
    home(world, "tip")


def test_two_joints_of_one_id_without_a_link_to_either_are_both_left_alone() -> None:
    world = homed_world("none")
    twin(world, "tip")
    twin(world, "tip", "triplet", 78)
    until(world, lambda: link(world, "tip").connection.conflict != "", 2 * S)
    world.kill_joint("tip")
    until(world, lambda: not link(world, "tip").up, 15 * S)
    world.run_for(60 * S)
    assert link(world, "tip").connection.conflict
    assert link(world, "tip").connection.connecting_to is None
    assert "prove id" in refusal(world, ev.Home()).message


def test_a_second_joint_in_the_middle_of_a_run_holds_it_level_and_it_goes_on_after() -> None:
    world = homed_world("quiet")
    moving(world)
    twin(world, "tip")
    until_phase(world, Phase.HELD)
    assert at_rest(world)
    assert "2 joints prove id" in run_of(world).report.holds[-1].cause
    address = [path_us(world, name) for name in NAMES]
    assert max(address) == min(address)
    assert refusal(world, ev.Resume()).code == "joint-conflict"
    world.node("tip").twins.clear()
    until(world, lambda: not link(world, "tip").connection.conflict, 30 * S)
    world.command(ev.Resume())
    finish(world)


def test_a_stop_reaches_a_joint_of_which_there_are_two() -> None:
    world = homed_world("none")
    moving(world)
    twin(world, "tip")
    until(world, lambda: link(world, "tip").connection.conflict != "", 2 * S)
    world.command(ev.Stop())
    until(world, lambda: not any(one.orders.stop_wanted for one in links(world)), 1 * S)
    until(world, lambda: at_rest(world), 1 * S)


@pytest.mark.parametrize("what", ["homing", "jog"])
def test_a_second_joint_ends_what_moves_the_first_alone(what: str) -> None:
    world = homed_world("none")
    if what == "homing":
        world.command(ev.Home(("tip",)))
        until(world, lambda: state(world, "tip") is JointState.HOMING)
    else:
        world.command(ev.Jog({"tip": 5.0}))
        until(world, lambda: state(world, "tip") is JointState.JOGGING)
    twin(world, "tip")
    until(world, lambda: at_rest(world), 3 * S)
    assert link(world, "tip").connection.conflict
    where = positions(world)
    world.run_for(5 * S)
    assert positions(world) == where


@pytest.mark.parametrize("phase", [Phase.LOADING, Phase.PREPARING, Phase.STARTING, Phase.HELD])
def test_a_second_joint_in_any_phase_lets_nothing_start(phase: Phase) -> None:
    world = homed_world(EVEN)
    play_to(world, phase)
    twin(world, "tip")
    until(world, lambda: link(world, "tip").connection.conflict != "", 3 * S)
    world.run_for(10 * S)
    assert at_rest(world)
    assert run_of(world).phase in (Phase.HELD, Phase.ENDED)


# ---- whoever has another key ----------------------------------------------------------------


def test_a_wrong_key_is_named_and_nothing_may_be_asked_of_the_arm() -> None:
    world = world_up("none")
    tip = link(world, "tip")
    world.core.members.begin_session(9, world.now)
    tell(world, ev.LinkDown(tip.joint.id, "key-wrong", "it does not hold this arm's key"))
    assert tip.connection.state is LinkState.REFUSED
    assert "link-key-wrong" in noted(world)
    refused = refusal(world, ev.Home())
    assert refused.code == "joint-offline"
    assert "key" in refused.message


def test_a_wrong_key_where_a_joint_was_said_to_be_ends_no_drives_to_the_joint_itself() -> None:
    world = homed_world("none")
    moving(world)
    tip = link(world, "tip")
    tell(world, ev.LinkDown(tip.joint.id, "key-wrong", "it does not hold this arm's key"))
    assert tip.in_session
    world.run_for(1 * S)
    assert run_of(world).phase is Phase.MOVING
    finish(world)


# ---- a network without announcements --------------------------------------------------------


def test_a_network_on_which_nobody_announces_anything_is_told_of_once() -> None:
    world = world_up("none")
    core = world.core
    for one in core.links:
        core.handle(ev.LinkDown(one.joint.id, "unreachable", "away"), world.now)
    alone = membership.Membership(
        world.arm, core.links, core.ramp, core.jog, core.outbox, core.session
    )
    now = world.now
    for _ in range(100):
        alone.step(now)
        now += S
    told = [note for note in core.outbox.notes if note.code == "nobody-announced"]
    assert len(told) == 1
    assert "does not pass multicast" in told[0].message


def test_joints_that_are_missing_are_asked_for_ever_less_often_and_then_no_more() -> None:
    world = world_up("none")
    asked: list[int] = []
    poll = world.core.poll

    def noting(now: int) -> list[ev.Action]:
        actions = poll(now)
        asked.extend(now for one in actions if isinstance(one, ev.Seek))
        return actions

    world.core.poll = noting  # type: ignore[method-assign]
    world.run_for(30 * S)
    assert asked == []
    world.kill_joint("tip")
    until(world, lambda: not link(world, "tip").up, 15 * S)
    world.run_for(60 * S)
    apart_s = [round((b - a) / S) for a, b in pairwise(asked)]
    assert apart_s[:4] == [1, 2, 4, 8]
    assert set(apart_s[4:]) == {10}
    world.restart_joint("tip")
    until(world, lambda: all_up(world), 15 * S)
    count = len(asked)
    world.run_for(60 * S)
    assert len(asked) == count
