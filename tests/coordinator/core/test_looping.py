"""Runs in loops, truly: for a time, with home edges checked between loops, and their figures."""

from dataclasses import replace

from coordinator.codes.delay import DelayKind
from coordinator.codes.outcome import Outcome
from coordinator.core import events as ev
from coordinator.core.condition import condition
from coordinator.core.run import Phase
from coordinator.core.snapshot.arm import arm_snapshot
from coordinator.core.snapshot.run import run_snapshot
from coordinator.motion import Part
from coordinator.motion.plan import edges_s, plan_text
from coordinator.motion.route import pose_at
from coordinator.programs.loops import Loops
from coordinator.rehearsal.world import World
from protocol.light import ConditionWord
from protocol.states import JointState
from tests.coordinator.core.kit import (
    S,
    all_up,
    at_rest,
    codes,
    describe,
    finish,
    home,
    homed_world,
    link,
    refusal,
    report_of,
    run_of,
    state,
    unit,
    until,
    until_phase,
)

ASIDE = "G90 G94\nG0 A30 B20\nG0 A40 B30\nM2\n"
"""It never comes near the home sensors, which are at 0°."""


def half_widths_deg(world: World) -> dict[str, float]:
    """Of the home sensors, as their newest homing found them."""
    found: dict[str, float] = {}
    for homing in world.core.homings.values():
        for name, joint in homing.results.items():
            slow = [edge.from_middle_deg for edge in joint.edges if not edge.fast]
            found[name] = (max(slow) - min(slow)) / 2.0
    return found


def play_loops(world: World, loops: Loops, text: str = ASIDE) -> None:
    start = pose_at(world.arm, world.core.start_counts())
    parts = plan_text(text, world.arm, start, loops, half_widths_deg=half_widths_deg(world))
    world.command(ev.Play("tray", text, parts, loops))


def until_loop(world: World, loop: int) -> None:
    """Let time pass until the arm moves in a loop."""

    def there() -> bool:
        run = run_of(world)
        is_there = run.context.part_now.loop == loop and not run.context.part_now.edges
        return is_there and run.phase is Phase.MOVING

    until(world, there, 120 * S)


def stands(world: World) -> list[int]:
    """Where each joint says that it is."""
    return [one.status.position for one in world.core.links if one.status is not None]


def lose(world: World, degrees: float) -> None:
    """The middle joint loses steps, far from its home sensor and in the first loop."""
    joint, lost = world.arm.joints[1], unit(world, "middle")
    until(world, lambda: abs(joint.to_degrees(lost.true_position(world.now)[0])) > 15.0)
    assert run_of(world).context.part_now.loop == 1
    lost.lose_steps(world.now, joint.to_counts(degrees))


# ---- for a time ---------------------------------------------------------------------------


def test_loops_are_begun_while_the_time_is_not_over_and_the_last_one_is_finished() -> None:
    world = homed_world(count=2)
    play_loops(world, Loops(None, 10.0), "G0 A30\nG0 A0\nM2\n")
    began_us = report_of(world).began_us
    begun: list[int] = []
    while run_of(world).active:
        before = run_of(world).part

        def goes_on(before: int = before) -> bool:
            return run_of(world).part != before or not run_of(world).active

        assert world.run_until(goes_on, 60 * S)
        if run_of(world).active:
            begun.append(world.now - began_us)
    finish(world)
    slowest = report_of(world).cycles.slowest
    assert slowest is not None
    assert [one.kind for one in slowest.delays] == (
        [DelayKind.STARTING] if slowest.loop > 1 else []
    )
    done = report_of(world).cycles.done
    assert done == len(begun) + 1 >= 3
    assert max(begun) < 10 * S <= world.now - began_us
    assert abs(unit(world, "base").true_position(world.now)[0]) < 1_000


def test_a_run_for_a_time_tells_its_loop_and_how_long_loops_are_begun() -> None:
    world = homed_world(count=2)
    play_loops(world, Loops(None, 60.0))
    until_loop(world, 3)
    shown = run_snapshot(run_of(world), world.laptop.now)
    assert (shown.loop, shown.loops, shown.for_s, shown.parts) == (3, None, 60.0, None)
    assert shown.to_go_us == report_of(world).began_us + 60 * S - world.laptop.now
    assert shown.production.done == 2


def test_between_two_loops_the_arm_is_never_said_to_rest() -> None:
    world = homed_world(count=2)
    play_loops(world, Loops(None, 8.0))
    until_phase(world, Phase.MOVING)
    words: set[ConditionWord] = set()

    def looked() -> bool:
        if run_of(world).active:
            words.add(condition(world.core, world.laptop.now).word)
        return not run_of(world).active

    until(world, looked, 60 * S)
    assert words == {ConditionWord.MOVING, ConditionWord.STARTS}


def test_a_hold_that_comes_as_a_loop_ends_keeps_the_next_one_from_beginning() -> None:
    world = homed_world(count=2)
    play_loops(world, Loops(None, 60.0))
    until_phase(world, Phase.DISCARDING)
    assert condition(world.core, world.laptop.now).cause == "tray goes on with loop 2"
    world.command(ev.Hold())
    until_phase(world, Phase.PAUSED)
    world.run_for(5 * S)
    assert at_rest(world)
    assert run_of(world).phase is Phase.PAUSED
    sentence = refusal(world, ev.Hold()).message
    assert sentence == "run 1 waits for resume between two loops; nothing moves"
    first = report_of(world).cycles.slowest
    assert first is not None
    assert (first.loop, first.delays) == (1, ())  # it was over before
    world.command(ev.Resume())
    until_loop(world, 2)
    until_loop(world, 3)
    second = report_of(world).cycles.slowest
    assert second is not None
    assert second.loop == 2
    paused = second.delays[0]
    assert (paused.kind, paused.why) == (DelayKind.PAUSED, "the operator asked")


def test_a_joint_that_restarts_between_two_loops_ends_the_run() -> None:
    world = homed_world(count=2)
    play_loops(world, Loops(None, 60.0))
    until_phase(world, Phase.DISCARDING)
    world.kill_joint("middle")
    world.restart_joint("middle")
    until_phase(world, Phase.ENDED)
    assert report_of(world).outcome is Outcome.LOST, describe(world)


# ---- home edges ---------------------------------------------------------------------------


def test_edges_are_passed_between_loops_and_all_goes_back_to_where_the_loop_begins() -> None:
    world = homed_world(count=2)
    play_loops(world, Loops(3, None, check_edges=True))
    until(world, lambda: bool(run_of(world).context.part_now.edges), 60 * S)
    before = stands(world)
    until_loop(world, 2)
    assert stands(world) == before
    finish(world)
    assert report_of(world).edges_passed == {"base": 2, "middle": 2}
    assert report_of(world).edges_unconfirmed == {}


def test_edges_are_watched_from_the_first_check_on_where_the_first_loop_moves_nothing() -> None:
    world = homed_world(count=2)
    play_loops(world, Loops(3, None, check_edges=True), "G0 A0\nM2\n")
    assert run_of(world).context.part_now.edges
    finish(world)
    assert report_of(world).edges_passed == {"base": 2, "middle": 2}


def test_while_edges_are_checked_the_line_of_the_report_stays_the_one_before() -> None:
    world = homed_world(count=2)
    play_loops(world, Loops(2, None, check_edges=True))
    until(world, lambda: bool(run_of(world).context.part_now.edges), 60 * S)
    until_phase(world, Phase.MOVING)
    world.run_for(2 * S)
    assert run_of(world).context.part_now.edges
    assert report_of(world).line == 3


def test_a_joint_that_lost_steps_is_found_between_two_loops() -> None:
    world = homed_world(count=2)
    play_loops(world, Loops(3, None, check_edges=True))
    lose(world, 0.8)
    until_phase(world, Phase.ENDED, limit_us=120 * S)
    report = report_of(world)
    assert (report.outcome, report.cycles.done) == (Outcome.FAULTED, 1)
    assert report.message == "middle has a fault: steps-lost"


def test_the_same_loss_is_not_found_by_a_program_that_never_passes_the_edge() -> None:
    world = homed_world(count=2)
    play_loops(world, Loops(3))
    lose(world, 0.8)
    finish(world)


def test_a_joint_so_far_astray_that_it_meets_no_edge_is_found_and_must_be_homed() -> None:
    world = homed_world(count=2)
    play_loops(world, Loops(2, None, check_edges=True))
    lose(world, 20.0)
    until_phase(world, Phase.ENDED, limit_us=120 * S)
    report = report_of(world)
    assert report.outcome is Outcome.FAULTED
    assert report.message.startswith("middle: its home sensor is off at ")
    assert link(world, "middle").doubt
    world.run_for(2 * S)
    refused = refusal(world, ev.Play("again", ASIDE, run_of(world).play.parts))
    assert refused.code == "not-homed"
    shown = arm_snapshot(world.core, world.laptop.now).joints[1]
    assert (shown.homed, shown.position_deg) == (False, None)
    home(world, "middle")
    assert not link(world, "middle").doubt


def test_a_joint_that_was_found_astray_stays_so_when_the_coordinator_restarts() -> None:
    world = homed_world(count=2)
    play_loops(world, Loops(2, None, check_edges=True))
    parts = run_of(world).play.parts
    lose(world, 20.0)
    until_phase(world, Phase.ENDED, limit_us=120 * S)
    until(world, lambda: state(world, "middle") is JointState.UNHOMED, 5 * S)
    world.kill_coordinator()
    world.start_coordinator()
    until(world, lambda: all_up(world), 30 * S)
    assert (link(world, "base").homed, link(world, "middle").homed) == (True, False)
    refused = refusal(world, ev.Play("again", ASIDE, parts))
    assert (refused.code, refused.message) == (
        "not-homed",
        "middle is not homed; home it first",
    )
    home(world, "middle")
    assert link(world, "middle").homed


def test_a_joint_that_was_found_astray_while_its_stream_was_gone_forgets_its_home_later() -> None:
    world = homed_world(count=2)
    play_loops(world, Loops(2, None, check_edges=True))
    lose(world, 20.0)
    until_phase(world, Phase.ENDED, limit_us=120 * S)
    world.break_stream("middle")
    until(world, lambda: state(world, "middle") is JointState.UNHOMED, 30 * S)
    until(world, lambda: all_up(world), 30 * S)
    assert link(world, "middle").connection.configured
    home(world)
    play_loops(world, Loops(2, None, check_edges=True))
    finish(world)


def test_steps_within_the_limit_are_no_loss() -> None:
    world = homed_world(count=2)
    play_loops(world, Loops(2, None, check_edges=True))
    joint = world.arm.joints[1]
    lose(world, 0.5 * 360.0 / (joint.full_steps * joint.gear_ratio))
    finish(world)
    assert report_of(world).edges_passed == {"base": 1, "middle": 1}


def test_a_joint_that_does_not_tell_its_sensors_level_is_refused_with_its_name() -> None:
    world = homed_world(count=2)
    status = link(world, "middle").status
    assert status is not None
    link(world, "middle").status = replace(status, home_sensor=None)
    loops = Loops(2, None, check_edges=True)
    start = pose_at(world.arm, world.core.start_counts())
    parts = plan_text(ASIDE, world.arm, start, loops, half_widths_deg=half_widths_deg(world))
    refused = refusal(world, ev.Play("tray", ASIDE, parts, loops))
    assert refused.code == "edges"
    assert refused.message.startswith("the edge of middle cannot be checked: ")


# ---- figures ------------------------------------------------------------------------------


def test_loops_without_a_rest_between_are_counted_and_timed_as_they_truly_are() -> None:
    world = homed_world(count=2)
    play_loops(world, Loops(4), "G0 A30\nG0 A0\nM2\n")
    finish(world)
    report = report_of(world)
    end_us = run_of(world).point_feed.end_us
    assert end_us is not None
    assert report.cycles.done == 4
    mean_us = report.cycles.told().mean_us
    assert mean_us is not None
    # The ramp of the start and the last answers come on top.
    assert 0 <= 4 * mean_us - end_us <= 0.6 * S
    assert report.cycles.slowest is not None
    assert report.cycles.slowest.delays == ()


def test_a_loop_that_a_joint_without_power_does_not_end_is_not_counted() -> None:
    world = homed_world(count=2)
    play_loops(world, Loops(3), "G0 A30\nG0 A0\nM2\n")
    until_phase(world, Phase.MOVING)
    run = run_of(world)
    part = run.play.part(0)
    assert isinstance(part, Part)
    turn_us = next(move.start_us for k, move in enumerate(part.moves()) if k in part.turns)

    def nearly_there() -> bool:
        return run.course is not None and run.course.at(world.laptop.now)[0] > turn_us - 100_000

    until(world, nearly_there)
    world.kill_joint("middle")
    world.run_for(10 * S)
    assert run.phase is Phase.ENDED or at_rest(world)
    assert report_of(world).cycles.done == 0


def test_the_slowest_loop_says_who_held_it_and_how_slow_it_was_made() -> None:
    world = homed_world(count=2)
    play_loops(world, Loops(4), "G1 A30 F600\nG1 A0 F600\nM2\n")
    until(world, lambda: report_of(world).cycles.done == 1, 60 * S)
    world.command(ev.Hold())
    until_phase(world, Phase.HELD)
    world.run_for(7 * S)
    world.command(ev.Override(500_000))
    world.command(ev.Resume())
    until(world, lambda: report_of(world).cycles.done == 2, 60 * S)
    world.command(ev.Override(1_000_000))
    finish(world)
    slowest = report_of(world).cycles.slowest
    assert slowest is not None
    assert slowest.loop == 2
    held, speed = slowest.delays
    assert (held.kind, held.why) == (DelayKind.HELD, "the operator asked")
    assert held.lasted_us >= 7 * S
    # Half of the speed takes as long again; some of the loop was over before the hold.
    assert speed.kind is DelayKind.SPEED
    assert 4 * S < speed.lasted_us < 7 * S
    told = report_of(world).cycles.told()
    assert told.mean_us is not None
    apart_us = slowest.lasted_us - held.lasted_us - speed.lasted_us
    assert 5.5 * S < apart_us < 8 * S  # what the loop takes by itself
    assert (told.interventions.holds, told.interventions.speed_changes) == (1, 2)


def test_a_pause_a_takeover_and_a_check_of_edges_are_told_as_what_they_are() -> None:
    world = homed_world(count=2)
    play_loops(world, Loops(2, None, check_edges=True), "G0 A30\nM0\nG0 A40\nM2\n")
    until_phase(world, Phase.PAUSED)
    world.run_for(3 * S)
    world.command(ev.Resume())
    until(world, lambda: bool(run_of(world).context.part_now.edges), 60 * S)
    shown = run_snapshot(run_of(world), world.laptop.now)
    assert (shown.loop, shown.checks_edges_now, shown.production.done) == (2, True, 1)
    until_loop(world, 2)
    world.command(ev.Hold(ev.Because.TAKEN_OVER))
    until_phase(world, Phase.HELD)
    world.command(ev.Resume())
    until_phase(world, Phase.PAUSED)
    world.command(ev.Resume())
    finish(world)
    told = report_of(world).cycles.told()
    assert (told.done, told.interventions.pauses, told.interventions.takeovers) == (2, 2, 1)
    assert told.slowest is not None
    assert told.slowest.loop == 2
    kinds = [one.kind for one in told.slowest.delays]
    assert kinds[0] is DelayKind.EDGES_CHECKED
    assert DelayKind.HELD in kinds
    assert "edges-unconfirmed" not in codes(world)


def test_time_to_go_is_the_mean_of_the_loops_that_are_done() -> None:
    world = homed_world(count=2)
    play_loops(world, Loops(5), "G1 A30 F600\nG1 A0 F600\nM2\n")
    until_phase(world, Phase.MOVING)
    assert run_snapshot(run_of(world), world.laptop.now).to_go_us is None
    until(world, lambda: report_of(world).cycles.done == 2, 60 * S)
    shown = run_snapshot(run_of(world), world.laptop.now)
    assert shown.to_go_us is not None
    asked_us = world.laptop.now + shown.to_go_us
    finish(world)
    assert abs(world.laptop.now - asked_us) < 0.7 * S


def test_what_checks_of_edges_take_is_told_apart_from_the_loops_and_counted_in_time_to_go() -> None:
    world = homed_world(count=2)
    play_loops(world, Loops(3, None, check_edges=True), "G0 A30\nG0 A0\nM2\n")
    until(world, lambda: report_of(world).cycles.done == 1, 60 * S)
    # Of a loop with a check nothing is known yet: the first one had none.
    assert run_snapshot(run_of(world), world.laptop.now).to_go_us is None
    assert report_of(world).cycles.told().edges_mean_us is None
    until(world, lambda: report_of(world).cycles.done == 2, 120 * S)
    shown = run_snapshot(run_of(world), world.laptop.now)
    assert shown.to_go_us is not None
    asked_us = world.laptop.now + shown.to_go_us
    finish(world)
    assert abs(world.laptop.now - asked_us) < 0.7 * S
    told = report_of(world).cycles.told()
    assert told.mean_us is not None
    assert told.edges_mean_us is not None
    start = pose_at(world.arm, world.core.start_counts())
    expected_s = edges_s(world.arm, half_widths_deg(world), start)
    assert expected_s is not None
    # Two checks in three loops; to load and start each comes on top.
    assert 0 <= 3 * told.edges_mean_us - 2 * expected_s * S <= 2 * 0.6 * S
    assert told.edges_mean_us < told.mean_us
