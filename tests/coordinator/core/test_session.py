"""Sessions: a broken stream, another coordinator, a restart, a laptop that sleeps, numbers' end."""

from dataclasses import replace

import pytest

from coordinator.core import events as ev
from coordinator.core import machine, strangers
from coordinator.core.link.connection import LinkState
from coordinator.core.run import Phase
from coordinator.rehearsal.world import World
from coordinator.timing.exchange import Exchange
from protocol.discovery import Announcement
from protocol.states import JointState
from tests.coordinator.core.kit import (
    EVEN,
    S,
    all_up,
    at_rest,
    codes,
    finish,
    home,
    homed_world,
    link,
    links,
    moving,
    of_kind,
    play,
    play_to,
    positions,
    refusal,
    report_of,
    run_of,
    state,
    truth,
    unit,
    until,
    until_phase,
    wiretap,
    world_up,
)  # fmt: skip


def test_drives_go_on_while_a_stream_is_being_opened_anew() -> None:
    world = homed_world("quiet")
    moving(world)
    wire = wiretap(world)
    world.break_stream("tip")
    world.run_for(150_000)
    tip = link(world, "tip").joint.id
    assert sum(action.joint_id == tip for _, action in wire.drives) >= 3
    assert state(world, "tip") is JointState.MOVING


def test_a_joint_that_another_coordinator_has_gets_no_drives() -> None:
    world = homed_world("none")
    tip = link(world, "tip").joint.id
    world.core.handle(ev.LinkDown(tip, "foreign", "another coordinator was heard"), world.now)
    assert link(world, "tip").connection.state is LinkState.REFUSED
    wire = wiretap(world)
    world.run_for(100_000)
    assert not any(action.joint_id == tip for _, action in wire.drives)
    assert any(note.code == "link-foreign" for note in world.notes)
    assert refusal(world, ev.Home()).code == "joint-offline"


def test_a_reason_that_repeats_is_told_once_though_its_figures_change() -> None:
    world = world_up("none")
    tip = link(world, "tip").joint.id
    for k in range(5):
        message = f"another coordinator was heard {k}.0 s ago"
        world.core.handle(ev.LinkDown(tip, "foreign", message), world.now)
    told = [note for note in world.core.poll(world.now) if isinstance(note, ev.Note)]
    assert len(told) == 1


def test_after_a_crash_the_joints_hold_by_themselves_and_a_new_coordinator_plays_again() -> None:
    world = homed_world("quiet")
    moving(world)
    world.kill_coordinator()
    world.run_for(200_000)
    world.start_coordinator()
    # The joints still move for the old session, so the new one is refused at first.
    until(world, lambda: any(one.connection.state is LinkState.REFUSED for one in links(world)))
    assert any("busy" in one.code for one in world.core.outbox.notes)
    until(world, lambda: at_rest(world))
    held = of_kind(truth(world), "hold")
    assert len({event.path_us for events in held.values() for event in events}) == 1
    until(world, lambda: all_up(world), 30 * S)
    place = positions(world)
    world.run_for(3 * S)
    assert positions(world) == place
    assert all(unit.joint.loaded == (0, 0) for unit in world.units)
    play(world)
    finish(world)


@pytest.mark.parametrize("phase", [Phase.LOADING, Phase.STARTING, Phase.MOVING, Phase.HELD])
def test_a_crash_in_any_phase_is_survived(phase: Phase) -> None:
    world = homed_world(EVEN)
    play_to(world, phase)
    world.kill_coordinator()
    world.run_for(5 * S)
    assert at_rest(world)
    world.start_coordinator()
    until(world, lambda: all_up(world), 30 * S)
    play(world)
    finish(world)


@pytest.mark.parametrize("slept_us", [3 * S, 100 * S])
def test_a_laptop_that_sleeps_loses_its_session_and_the_run_and_plays_again_after(
    slept_us: int,
) -> None:
    world = homed_world("quiet")
    moving(world)
    session = world.core.session
    world.laptop.sleep(slept_us)
    world.run_for(slept_us + 1_000)
    assert world.core.session != session
    assert run_of(world).phase is Phase.ENDED
    assert report_of(world).outcome == "lost"
    assert "slept" in report_of(world).message
    until(world, lambda: all_up(world), 30 * S)
    place = positions(world)
    world.run_for(3 * S)
    assert positions(world) == place
    play(world)
    finish(world)


def test_a_sleep_ends_a_homing_and_no_joint_goes_on_with_it() -> None:
    world = world_up("quiet")
    world.command(ev.Home())
    world.run_for(500_000)
    world.laptop.sleep(2 * S)
    world.run_for(2 * S + 1_000)
    assert world.core.homing is not None
    assert world.core.homing.state == "failed"
    until(world, lambda: all_up(world), 30 * S)
    place = positions(world)
    world.run_for(5 * S)
    assert positions(world) == place
    home(world)


def test_the_session_ends_before_its_drives_run_out_of_numbers(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    world = homed_world("none")
    session = world.core.session
    last = max(one.orders.sequence for one in links(world)) + 40
    monkeypatch.setattr(machine, "SEQUENCE_LAST", last)
    wire = wiretap(world)
    until(world, lambda: world.core.session != session)
    assert max(a.drive.sequence for _, a in wire.drives if a.drive.session == session) <= last
    assert "session-ended" in codes(world)
    monkeypatch.undo()
    until(world, lambda: all_up(world), 30 * S)
    play(world)
    finish(world)


def test_plan_numbers_are_never_used_twice_in_a_session() -> None:
    world = homed_world(EVEN)
    wire = wiretap(world)
    moving(world)
    world.command(ev.Override(500_000))
    world.run_for(1 * S)
    world.command(ev.Hold())
    until_phase(world, Phase.HELD)
    world.command(ev.Resume())
    finish(world)
    plans = [action.drive.plan for _, action in wire.drives if action.drive.plan]
    assert [p.number for p in plans] == sorted(p.number for p in plans)
    contents: dict[int, set[object]] = {}
    for plan in plans:
        contents.setdefault(plan.number, set()).add(plan)
    assert all(len(found) == 1 for found in contents.values())


def test_a_clear_that_meets_the_stop_still_being_asked_for_is_repeated() -> None:
    world = homed_world(EVEN)
    world.command(ev.Stop())
    until(world, lambda: not any(one.orders.stop_wanted for one in links(world)))
    # The drive that no longer carries the stop is lost; the clear comes all the same.
    world.cut("tip", 20_000, ["forward"])
    world.run_for(1)
    play(world)
    finish(world)


def fresh_status(world: World, name: str) -> bool:
    """Whether the core knows the joint's present boot."""
    status = link(world, name).status
    return status is not None and status.boot == unit(world, name).joint.identity.boot


def test_what_was_said_before_a_boot_is_not_believed_after_it() -> None:
    world = homed_world(EVEN)
    world.run_for(500_000)
    old = link(world, "tip").status
    assert old is not None
    world.kill_joint("tip")
    world.restart_joint("tip")
    until(world, lambda: fresh_status(world, "tip"))
    late = ev.Replied(
        link(world, "tip").joint.id,
        old.sequence,
        Exchange(world.now, 1, 1, world.now),
        replace(old, sequence=1_000_000),
    )
    world.core.handle(late, world.now)
    assert fresh_status(world, "tip")


def test_a_goodbye_of_a_joint_that_then_breaks_does_not_keep_the_core_busy() -> None:
    world = homed_world("none")
    world.core.handle(ev.Gone("tip"), world.now)
    world.core.handle(ev.LinkDown(link(world, "tip").joint.id, "stream-closed", "gone"), world.now)
    polls = 0
    poll = world.core.poll

    def counted(now: int) -> list[ev.Action]:
        nonlocal polls
        polls += 1
        return poll(now)

    world.core.poll = counted  # type: ignore[method-assign]
    world.run_for(10 * S)
    assert polls < 10 * 25 * 8
    world.core.handle(ev.Found("tip", "world", 1, found(world, "tip")), world.now)
    until(world, lambda: all_up(world))


def found(world: World, name: str) -> Announcement:
    """What a joint announces."""
    return Announcement(link(world, name).joint.id, "world", 1)


def test_more_strangers_than_can_be_remembered_are_not() -> None:
    world = world_up("none")
    for k in range(1_000):
        announcement = Announcement(f"ff{k:010x}", "x", 1)
        world.core.handle(ev.Found(f"stranger {k}", "10.0.0.1", 1, announcement), world.now)
    assert len(world.core.members.strangers.announced) <= strangers.STRANGERS_KEPT
    (told,) = [note.message for note in world.core.outbox.notes if note.code == "joints-unknown"]
    assert told == (
        "more than 64 joints that are not in small.toml announce themselves; the others are not "
        "listed"
    )
    assert len(world.core.poll(world.now)) < 200


def test_a_stop_on_its_way_when_the_session_ends_is_confirmed_in_the_next_one() -> None:
    world = homed_world("none")
    world.run_for(60 * S)
    moving(world)
    world.cut("tip", 2 * S)
    world.command(ev.Stop())
    world.laptop.sleep(3 * S)
    world.run_for(3 * S + 1_000)
    until(world, lambda: all_up(world), 30 * S)
    # As soon as the links stand, not only once the new session's numbers pass those of the old.
    until(world, lambda: not any(one.orders.stop_wanted for one in links(world)), 1 * S)
    home(world)
    play(world)
    finish(world)
