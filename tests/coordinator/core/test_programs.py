"""Playing programs: parts, pauses, dwells, long ones through small buffers, and refusals."""

import pytest

from coordinator.core import events as ev
from coordinator.core.run import Phase
from protocol.messages import Discard, Prepare
from protocol.states import JointState
from simulator.joint.refusal import Refusal
from tests.coordinator.core.kit import (
    EVEN,
    NAMES,
    S,
    at_rest,
    codes,
    finish,
    home,
    homed_world,
    link,
    moving,
    of_kind,
    play,
    refusal,
    report_of,
    run_of,
    states,
    truth,
    unit,
    until,
    until_phase,
    wiretap,
    world_up,
)  # fmt: skip

PARTED = "G90 G94\nG0 A10\nM0\nG0 A20 B5\nM0\nG0 A0 B0 C0\nM2\n"


def degrees(name: str, at: float) -> int:
    """A joint's position in counts."""
    per_degree = 200 * 16 * 20 * 256 / 360
    return round(at * per_degree * (-1 if name == "middle" else 1))


def test_a_program_ends_where_it_says_on_every_axis_truly() -> None:
    world = homed_world("quiet")
    play(world, "G90 G94\nG0 A12 B-7 C33\nM2\n")
    finish(world)
    for name, target in zip(NAMES, (12, -7, 33), strict=True):
        # Homing finds the middle of the sensor's window to well under a microstep (256 counts).
        place = unit(world, name).true_position(world.now)[0]
        assert abs(place - degrees(name, target)) < 256


def test_an_m0_waits_for_the_operator_and_each_part_starts_together() -> None:
    world = homed_world("home")
    play(world, PARTED)
    for part in range(2):
        until_phase(world, Phase.PAUSED)
        assert run_of(world).part == part
        world.run_for(3 * S)
        assert at_rest(world)
        assert run_of(world).phase is Phase.PAUSED
        assert states(world) == [JointState.READY] * 3
        world.command(ev.Resume())
    finish(world)
    assert len(report_of(world).starts) == 3
    assert {len(events) for events in of_kind(truth(world), "start").values()} == {3}


@pytest.mark.parametrize(
    ("text", "pauses", "starts"),
    [
        ("G90 G94\nM0\nG0 A10\nM2\n", 1, 1),
        ("G90 G94\nG0 A10\nM0\nM2\n", 1, 1),
        ("G90 G94\nM0\nM0\nG0 A10\nM0\nM2\n", 3, 1),
        ("M0\nM2\n", 1, 0),
    ],
)
def test_a_program_may_begin_or_end_with_m0(text: str, pauses: int, starts: int) -> None:
    world = homed_world("none")
    play(world, text)
    for _ in range(pauses):
        until_phase(world, Phase.PAUSED)
        world.command(ev.Resume())
        world.run_for(1_000)
    finish(world)
    assert len(report_of(world).starts) == starts


def test_a_pause_names_its_line_and_the_report_says_that_the_run_is_paused() -> None:
    world = homed_world("none")
    play(world, PARTED)
    until_phase(world, Phase.PAUSED)
    assert report_of(world).outcome == "paused"
    paused = next(note for note in world.notes if note.code == "paused")
    assert paused.message == "line 3: the program pauses; resume goes on"
    world.command(ev.Resume())
    assert report_of(world).outcome == "playing"


def test_a_resume_from_a_pause_is_refused_while_a_joint_is_missing() -> None:
    world = homed_world("none")
    play(world, PARTED)
    until_phase(world, Phase.PAUSED)
    world.cut("tip", 3 * S)
    world.run_for(2 * S)
    assert refusal(world, ev.Resume()).code == "joint-offline"
    world.run_for(3 * S)
    world.command(ev.Resume())
    until_phase(world, Phase.PAUSED)


def test_a_joint_that_boots_during_a_pause_ends_the_run() -> None:
    world = homed_world("none")
    play(world, PARTED)
    until_phase(world, Phase.PAUSED)
    world.kill_joint("tip")
    world.restart_joint("tip")
    until_phase(world, Phase.ENDED)
    assert report_of(world).outcome == "lost"


def test_a_program_that_only_dwells_takes_its_time_and_moves_nothing() -> None:
    world = homed_world("none")
    place = [unit(world, name).true_position(world.now)[0] for name in NAMES]
    play(world, "G4 P1.5\nM2\n")
    finish(world)
    found = truth(world)
    for name in NAMES:
        began, ended = found[name]
        assert (began.event, ended.event) == ("start", "finish")
        assert ended.path_us == 1_500_000
        # Path time begins at rest: the ramp costs its length less the path that it covers.
        ramp = world.core.ramp
        took = (ended.at_ns - began.at_ns) / 1000
        assert took == pytest.approx(1_500_000 + ramp.duration_us - ramp.path_us, abs=200)
    stood = [unit(world, name).true_position(world.now)[0] for name in NAMES]
    assert stood == pytest.approx(place, abs=1e-6)


def test_a_program_that_moves_nothing_is_refused() -> None:
    world = homed_world("none")
    assert refusal(world, ev.Play("nothing", "M2\n", ())).code == "program-empty"


def test_a_long_program_streams_through_a_small_buffer() -> None:
    world = homed_world("quiet", capacity=32)
    moves = "".join(f"G0 A{5 + k % 7} B{k % 3} C{10 - k % 5}\n" for k in range(60))
    play(world, f"G90 G94\n{moves}M2\n")
    most, seen = 0, [dict[str, int]()]
    while run_of(world).phase is not Phase.ENDED:
        world.run_for(100_000)
        assert all(len(one.joint._body.path.buffer._points) <= 32 for one in world.units)
        most = max(most, len(run_of(world).point_feed._columns))
        seen.append(dict(run_of(world).point_feed.buffer_margin_us))
    assert report_of(world).outcome == "finished"
    assert report_of(world).holds == []
    # Nothing grows with the program: what is kept is what the slowest joint still needs.
    assert most <= 32 + 16
    margin = report_of(world).buffer_margin_us
    assert set(margin) == set(NAMES)
    assert all(0 < value < 10 * S for value in margin.values())
    # Of a joint's margins the smallest is kept: it only ever falls.
    for name in NAMES:
        falls = [margins[name] for margins in seen if name in margins]
        assert falls == sorted(falls, reverse=True)
        assert falls[-1] < falls[0]


def test_a_broken_stream_does_not_stop_the_arm_and_points_go_on_where_they_were() -> None:
    world = homed_world("quiet", capacity=64)
    moves = "".join(f"G0 A{5 + k % 7} B{k % 3} C{10 - k % 5}\n" for k in range(30))
    play(world, f"G90 G94\n{moves}M2\n")
    until_phase(world, Phase.MOVING)
    for _ in range(4):
        world.run_for(1_700_000)
        world.break_stream("middle")
        assert not link(world, "middle").up
    finish(world)
    assert report_of(world).holds == []


@pytest.mark.parametrize("phase", [Phase.LOADING, Phase.PREPARING, Phase.DISCARDING])
def test_a_stream_that_breaks_around_a_run_costs_only_time(phase: Phase) -> None:
    world = homed_world(EVEN)
    play(world)
    until_phase(world, phase)
    for name in NAMES:
        world.break_stream(name)
    finish(world)


def test_points_that_a_joint_refuses_end_the_run_with_its_sentence(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    world = homed_world("none")
    joint = unit(world, "tip").joint
    monkeypatch.setattr(joint, "points", lambda _frame, _now: Refusal("range", "too far out"))
    play(world)
    until_phase(world, Phase.ENDED)
    assert report_of(world).outcome == "refused"
    assert report_of(world).message == "tip refuses the program: too far out"
    assert not any(of_kind(truth(world), "start").values())
    monkeypatch.undo()
    play(world)
    finish(world)


def test_a_program_that_begins_elsewhere_is_refused_by_the_joint_with_both_positions() -> None:
    world = homed_world("none")
    number = play(world)
    parts = run_of(world).play.parts
    finish(world)
    assert number == 1
    play(world, "G90 G94\nG0 A5\nM2\n")
    finish(world)
    world.command(ev.Play("stale", "", parts))
    until_phase(world, Phase.ENDED)
    assert report_of(world).outcome == "refused"
    assert "base cannot play: the joint stands at" in report_of(world).message


def test_play_needs_every_joint_homed_present_and_at_rest() -> None:
    world = world_up("none")
    with pytest.raises(ev.Refused) as unhomed:
        play(world)
    assert unhomed.value.code == "not-homed"
    home(world)
    play(world)
    finish(world)
    parts = run_of(world).play.parts
    world.command(ev.Jog({"tip": 5.0}))
    assert refusal(world, ev.Play("again", "", parts)).code == "jogging"
    world.run_for(2 * S)
    world.command(ev.Home(("tip",)))
    assert refusal(world, ev.Play("again", "", parts)).code == "homing"
    until(world, lambda: world.core.homing is not None and world.core.homing.state == "done")
    world.cut("tip", 5 * S)
    world.run_for(2 * S)
    assert refusal(world, ev.Play("again", "", parts)).code == "joint-offline"


def test_trajectory_numbers_are_never_used_twice_so_old_points_are_never_taken_for_new() -> None:
    world = homed_world("none")
    wire = wiretap(world)
    for _ in range(3):
        play(world)
        finish(world)
    prepared = [
        action.content.trajectory
        for _, action in wire.frames
        if isinstance(action.content, Prepare) and action.joint_id == link(world, "tip").joint.id
    ]
    assert len(prepared) == len(set(prepared)) == 3


def test_points_left_in_a_joint_that_was_away_when_its_run_ended_are_discarded_first() -> None:
    world = homed_world("none")
    moving(world)
    world.command(ev.Hold())
    until_phase(world, Phase.HELD)
    # The tip loses its stream and its datagrams, and the run is stopped meanwhile.
    world.cut("tip", 4 * S)
    world.command(ev.Stop())
    until_phase(world, Phase.ENDED)
    assert unit(world, "tip").joint.loaded[0] != 0
    world.run_for(6 * S)
    wire = wiretap(world)
    play(world)
    first = next(a for _, a in wire.frames if a.joint_id == link(world, "tip").joint.id)
    assert isinstance(first.content, Discard)
    finish(world)


def test_a_run_whose_joint_lost_its_points_to_another_session_cannot_go_on() -> None:
    world = homed_world("none")
    moving(world)
    world.command(ev.Hold())
    until_phase(world, Phase.HELD)
    tip = unit(world, "tip")
    world.cut("tip", 7 * S)
    world.run_for(6 * S)
    stranger = bytes(range(16, 32))
    assert tip.by_value(world.now, lambda j, now: j.session_refusal(stranger, 5, now)) is None
    tip.by_value(world.now, lambda joint, now: joint.begin_session(stranger, 5, now))
    world.break_stream("tip")
    until_phase(world, Phase.ENDED)
    assert report_of(world).outcome == "lost"
    assert "tip does not have the points of this run any more" in report_of(world).message
    assert "run-lost" in codes(world)
