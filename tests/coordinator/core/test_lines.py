"""The journal's lines: one for one thing that happened; all else that is told is a detail of it.

A command is written by the shell, once (`records/journal.py`), so that what the core tells of what
was asked is a detail. Of what nobody asked it tells one line.
"""

from collections.abc import Callable

import pytest

from coordinator.core import events as ev
from coordinator.core.homing import HomingState
from coordinator.core.machine import Coordinator
from coordinator.core.run import Phase
from coordinator.core.run.start import Stage
from coordinator.core.snapshot.arm import arm_snapshot
from coordinator.rehearsal.world import World
from protocol.drive import StopLevel
from protocol.states import JointState
from protocol.status import Fault
from tests.coordinator.core.kit import (
    EVEN,
    LONG,
    S,
    all_up,
    at_rest,
    codes,
    finish,
    home,
    homed_world,
    link,
    moving,
    play,
    run_of,
    small_arm,
    state,
    unit,
    units,
    until,
    until_phase,
    until_stage,
    world_up,
)


def lines(world: World) -> list[str]:
    """The codes of all lines so far, and every one has something to say."""
    told = [note for note in world.notes if not note.detail]
    assert all(note.message for note in told)
    return [note.code for note in told]


def rested(world: World) -> None:
    until(world, lambda: run_of(world).phase in (Phase.HELD, Phase.ENDED) and at_rest(world))
    world.run_for(2 * S)


def a_run(world: World) -> None:
    play(world)
    finish(world)


def a_hold(world: World) -> None:
    moving(world)
    world.command(ev.Hold())
    rested(world)


def a_hold_before_the_start(world: World) -> None:
    play(world, LONG)
    until_phase(world, Phase.STARTING)
    world.command(ev.Hold())
    rested(world)


def a_resume(world: World) -> None:
    a_hold(world)
    world.command(ev.Resume())
    until_phase(world, Phase.MOVING)
    world.run_for(1 * S)


def a_stop(world: World) -> None:
    moving(world)
    world.command(ev.Stop())
    rested(world)


def motors_off(world: World) -> None:
    moving(world)
    world.command(ev.Stop(StopLevel.RELEASE))
    rested(world)


def an_override(world: World) -> None:
    moving(world)
    world.command(ev.Override(500_000))
    world.run_for(1 * S)


def a_jog(world: World) -> None:
    world.command(ev.Jog({"tip": 5.0}))
    world.run_for(200_000)
    world.command(ev.Jog({"tip": 0.0}))
    world.run_for(2 * S)


def a_blink(world: World) -> None:
    world.command(ev.Blink("tip"))
    world.run_for(2 * S)


def a_homing(world: World) -> None:
    home(world)


def a_homing_that_is_held(world: World) -> None:
    world.command(ev.Home())
    world.run_for(500_000)
    world.command(ev.Hold())
    world.run_for(2 * S)


def a_homing_that_is_stopped(world: World) -> None:
    world.command(ev.Home())
    world.run_for(500_000)
    world.command(ev.Stop())
    world.run_for(2 * S)


@pytest.mark.parametrize("profile", [EVEN, "home"])
@pytest.mark.parametrize(
    ("act", "told"),
    [
        (a_run, ["run-finished"]),
        (a_hold, []),
        (a_hold_before_the_start, []),
        (a_resume, []),
        (a_stop, []),
        (motors_off, []),
        (an_override, []),
        (a_jog, []),
        (a_blink, []),
        (a_homing, ["homing-done"]),
        (a_homing_that_is_held, []),
        (a_homing_that_is_stopped, []),
    ],
)
def test_what_is_asked_for_has_its_commands_line_and_one_more_where_something_came_of_it(
    profile: str, act: Callable[[World], None], told: list[str]
) -> None:
    world = homed_world(profile)
    act(world)
    assert lines(world) == told


def test_a_resume_on_a_bad_link_is_one_line_and_a_hold_that_nobody_asked_for_one_more() -> None:
    world = homed_world(EVEN)
    a_hold(world)
    world.notes.clear()
    world.command(ev.Resume())
    for _ in range(2):
        start = until_stage(world, Stage.STARTING)
        assert start.record is not None
        world.cut("tip", start.record.at_us - start.record.confirm_us - world.now, ["back"])
        until(world, lambda: (s := run_of(world).start) is None or s.stage is not Stage.STARTING)
    until_phase(world, Phase.MOVING)
    world.run_for(1_500_000)
    assert lines(world) == []
    assert codes(world).count("start-withdrawn") == 2
    world.cut("tip", 1_500_000)
    until_phase(world, Phase.HELD)
    until(world, lambda: all_up(world))
    world.command(ev.Resume())
    finish(world)
    assert lines(world) == ["held", "run-finished"]
    assert len(world.notes) > 4  # the details are there for who asks


def test_a_start_that_is_refused_is_one_line_with_its_figures() -> None:
    world = homed_world(EVEN)
    play(world)
    for _ in range(3):
        start = until_stage(world, Stage.STARTING)
        assert start.record is not None
        world.cut("tip", start.record.at_us - start.record.confirm_us - world.now, ["back"])
        until(world, lambda: (s := run_of(world).start) is None or s.stage is not Stage.STARTING)
    rested(world)
    assert lines(world) == ["run-refused"]
    (line,) = [note for note in world.notes if not note.detail]
    assert line.message.startswith("tip did not confirm the start in 3 attempts (last start delay ")
    details = [note.code for note in world.notes if note.detail]
    assert details.count("start-withdrawn") == 2
    assert {"start-refused", "held"} <= set(details)


def test_a_joint_that_is_lost_in_motion_is_the_line_of_the_hold_that_says_it_may_move() -> None:
    world = homed_world("none")
    moving(world)
    world.kill_joint("tip")
    rested(world)
    world.run_for(60 * S)
    assert lines(world) == ["held"]
    (line,) = [note for note in world.notes if not note.detail]
    assert "tip has not confirmed that it rests, by its own rules it does within " in line.message
    assert "joint-offline" in codes(world)


def test_a_start_in_which_a_joint_is_lost_is_one_line_that_says_who_had_not_confirmed() -> None:
    world = homed_world(EVEN)
    play(world)
    until_phase(world, Phase.STARTING)
    world.kill_joint("tip")
    rested(world)
    world.run_for(10 * S)
    assert lines(world) == ["run-refused"]
    (line,) = [note for note in world.notes if not note.detail]
    assert line.message.startswith("at the end tip had not confirmed that it rests; tip ")
    assert run_of(world).report.told == line.message


def test_a_joint_that_is_lost_while_nothing_moves_is_a_line() -> None:
    world = homed_world("none")
    a_hold(world)
    world.notes.clear()
    world.kill_joint("tip")
    world.run_for(10 * S)
    assert lines(world) == ["joint-offline"]


@pytest.mark.parametrize(
    ("was_there", "told"),
    [
        (False, "danger: tip is offline: it does not hold this key"),
        (True, "danger: tip's stream: it does not hold this key"),
    ],
)
def test_a_wrong_key_is_a_line_whether_or_not_the_joint_was_there(
    was_there: bool, told: str
) -> None:
    if was_there:
        core, now = (world := homed_world("none")).core, world.laptop.now
    else:
        core, now = Coordinator(small_arm(), bytes(16), 7), S
    tip = core.links[2].joint.id
    core.handle(ev.LinkDown(tip, "key-wrong", "it does not hold this key"), now)
    (note,) = [note for note in core.outbox.notes if note.code == "link-key-wrong"]
    assert (f"{note.level}: {note.message}", note.detail) == (told, False)


@pytest.mark.parametrize("was_heard", [False, True])
def test_why_a_stream_ends_is_a_line_only_of_a_joint_that_never_was_heard(was_heard: bool) -> None:
    """Of one that was, the warning of its loss is the line."""
    if was_heard:
        core, now = (world := homed_world("none")).core, world.laptop.now
    else:
        core, now = Coordinator(small_arm(), bytes(16), 7), S
    core.handle(ev.LinkDown(core.links[2].joint.id, "closed", "it closed the stream"), now)
    (note,) = [note for note in core.outbox.notes if note.code == "link-closed"]
    assert note.detail is was_heard


def test_a_stream_that_is_lost_and_was_never_heard_beside_is_a_line() -> None:
    """A network that passes the stream and no datagrams: no warning tells of its loss."""
    arm = small_arm()
    world = World(arm, units(arm, 1), "none", 1)
    tip, handle = link(world, "tip").joint.id, world.core.handle

    def without_datagrams(event: ev.Event, now: int) -> None:
        if not isinstance(event, ev.Replied) or event.joint_id != tip:
            handle(event, now)

    world.core.handle = without_datagrams  # type: ignore[method-assign]
    until(world, lambda: link(world, "tip").up, 30 * S)
    world.notes.clear()
    world.core.handle(ev.LinkDown(tip, "closed", "it closed the stream"), world.laptop.now)
    world.run_for(100_000)
    told = [note.message for note in world.notes if not note.detail and note.joint == "tip"]
    assert told == ["tip is offline: it closed the stream"]


@pytest.mark.parametrize("stream", [True, False])
def test_a_fault_in_a_run_is_one_line_whoever_tells_it_first(stream: bool) -> None:
    world = homed_world("none")
    moving(world)
    unit(world, "tip").fault(Fault.DRIVER, world.now)
    if stream:
        world.poll(world.node("tip"))
    else:
        world.break_stream("tip")
    rested(world)
    assert lines(world) == ["fault-driver" if stream else "stop"]
    (line,) = [note for note in world.notes if not note.detail]
    assert line.level == "danger"
    assert line.message.endswith("; the arm stops, and run 1 is over")
    assert "tip" in line.message


def test_a_fault_that_comes_again_after_it_was_cleared_is_a_line_again() -> None:
    world = homed_world("none")
    for _ in range(2):
        moving(world)
        world.notes.clear()
        unit(world, "tip").fault(Fault.DRIVER, world.now)
        world.poll(world.node("tip"))
        rested(world)
        assert lines(world) == ["fault-driver"]
        home(world)


def test_a_fault_while_nothing_is_played_is_the_joints_own_line() -> None:
    world = homed_world("none")
    unit(world, "tip").fault(Fault.DRIVER, world.now)
    world.poll(world.node("tip"))
    world.run_for(2 * S)
    assert lines(world) == ["fault-driver"]


def test_a_restart_in_a_run_is_one_line_that_says_what_is_over() -> None:
    world = homed_world("none")
    moving(world)
    world.kill_joint("tip")
    world.restart_joint("tip")
    rested(world)
    assert lines(world) == ["joint-restarted"]
    (line,) = [note for note in world.notes if not note.detail]
    assert line.message == "tip restarted and must be homed again; run 1 is over"


def test_a_restart_in_a_homing_is_one_line_too() -> None:
    world = world_up("none")
    world.command(ev.Home())
    until(world, lambda: state(world, "tip") is JointState.HOMING)
    world.notes.clear()
    world.kill_joint("tip")
    world.restart_joint("tip")
    world.run_for(5 * S)
    assert lines(world) == ["joint-restarted"]


def test_a_stop_that_is_not_confirmed_in_time_is_a_line_and_that_it_is_at_last_another() -> None:
    world = homed_world("none")
    moving(world)
    world.cut("tip", 4 * S)
    world.command(ev.Stop())
    world.run_for(900_000)
    assert lines(world) == []
    world.run_for(300_000)
    assert lines(world) == ["stop-unconfirmed"]
    until(world, lambda: "stop-confirmed" in codes(world), 30 * S)
    told = [(note.level, note.message) for note in world.notes if not note.detail]
    assert told[0] == (
        "danger",
        (
            "the stop has not reached tip: it may still move; use the emergency stop that cuts "
            "the power"
        ),
    )
    assert told[-1][0] == "info"
    assert told[-1][1].startswith("tip has confirmed the stop, after ")


def test_joints_that_miss_a_stop_together_are_one_line_and_another_stop_is_told_anew() -> None:
    world = homed_world("none")
    for name in ("middle", "tip"):
        world.cut(name, 60 * S)
    for _ in range(2):
        world.command(ev.Stop())
        world.run_for(2 * S)
    told = [note for note in world.notes if note.code == "stop-unconfirmed"]
    assert [note.message.partition(":")[0] for note in told] == [
        "the stop has not reached middle and tip"
    ] * 2
    assert [note.joint for note in told] == [None, None]


def test_a_session_that_ends_while_a_joint_homes_is_one_line() -> None:
    world = world_up("none")
    world.command(ev.Home())
    world.run_for(500_000)
    world.notes.clear()
    world.laptop.sleep(300_000)
    homing = world.core.homing
    assert homing is not None
    until(world, lambda: homing.state is HomingState.FAILED)
    until(world, lambda: all_up(world))
    assert lines(world) == ["session-ended"]


def test_the_arms_state_tells_details_marked_as_such() -> None:
    world = homed_world("none")
    a_hold(world)
    notes = arm_snapshot(world.core, world.laptop.now).notes
    lines, details = (
        [note.code for note in notes if note.detail is kind] for kind in (False, True)
    )
    assert "held" in details
    assert "held" not in lines
    assert "homing-done" in lines
