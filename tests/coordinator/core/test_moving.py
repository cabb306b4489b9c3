"""Running together: permit, levelling, hold and resume, on what really happened."""

import pytest

from coordinator.core import events as ev
from coordinator.core.run import Phase
from coordinator.core.snapshot.arm import arm_snapshot
from coordinator.rehearsal.world import World
from coordinator.timing.start_delay import ECHO_MIN_US
from protocol.constants import FIRST_PERMIT_US
from protocol.states import JointState
from simulator.network import Direction
from tests.coordinator.core.kit import (
    EVEN,
    LONG,
    NAMES,
    S,
    at_rest,
    describe,
    finish,
    held_places,
    homed_world,
    link,
    links,
    moving,
    of_kind,
    path_us,
    play,
    refusal,
    report_of,
    run_of,
    state,
    truth,
    until,
    until_phase,
    wiretap,
)


@pytest.mark.parametrize("profile", ["none", "quiet", "home"])
def test_a_hold_stops_all_joints_at_the_very_same_path_time(profile: str) -> None:
    world = homed_world(profile)
    moving(world)
    asked = world.now
    world.command(ev.Hold())
    until_phase(world, Phase.HELD)
    assert len(held_places(world)) == 1
    assert report_of(world).holds[0].apart_us == 0
    assert world.now - asked < 3 * S
    assert report_of(world).outcome == "held"
    world.command(ev.Resume())
    finish(world)


@pytest.mark.parametrize("profile", ["quiet", "home", "busy"])
def test_while_all_run_path_times_differ_by_no_more_than_the_clock_bounds(profile: str) -> None:
    world = homed_world(profile, seed=4)
    moving(world, after_us=100_000)
    checked = 0
    while run_of(world).phase is Phase.MOVING:
        places = [path_us(world, name) for name in NAMES]
        bounds = [one.clock_uncertainty_us(world.now) for one in links(world)]
        known = sorted(bound for bound in bounds if bound is not None)
        assert len(known) == 3
        assert max(places) - min(places) <= known[-1] + known[-2], describe(world)
        checked += 1
        world.run_for(100_000)
    assert checked > 3


def test_the_offer_is_the_same_for_all_and_never_beyond_the_horizon() -> None:
    world = homed_world("home")
    wire = wiretap(world)
    moving(world, after_us=2 * S)
    turns: dict[int, set[int | None]] = {}
    for at, action in wire.drives:
        if action.drive.plan and action.drive.plan.change:
            turns.setdefault(at, set()).add(action.drive.permit_us)
    assert all(len(permits) == 1 for permits in turns.values())
    course = run_of(world).course
    assert course is not None
    for at, permits in turns.items():
        for permit in permits:
            assert permit is not None
            assert permit <= max(100_000, course.at(at + 1 * S)[0])


@pytest.mark.parametrize("ways", [["forward", "back"], ["forward"], ["back"]])
@pytest.mark.parametrize("profile", ["quiet", "home"])
def test_a_joint_that_is_cut_off_makes_the_arm_hold_level_or_within_the_window(
    ways: list[Direction], profile: str
) -> None:
    world = homed_world(profile, seed=6)
    moving(world)
    cut = world.now
    world.cut("middle", 2 * S, ways)
    until_phase(world, Phase.HELD)
    assert world.now - cut < 6 * S
    world.run_for(2 * S)
    assert at_rest(world)
    places = held_places(world)
    assert max(places) - min(places) <= 400_000  # design section 5: at most the window apart
    assert "middle" in report_of(world).holds[0].cause
    world.command(ev.Resume())
    finish(world)
    last = {round(e.path_us) for found in of_kind(truth(world), "finish").values() for e in found}
    assert len(last) == 1


def test_an_outage_shorter_than_the_permit_holds_nothing() -> None:
    world = homed_world("quiet")
    moving(world)
    world.cut("middle", 150_000)
    finish(world)
    assert report_of(world).holds == []


def test_levelling_once_offered_stands_whatever_arrives_late() -> None:
    world = homed_world(EVEN)
    moving(world)
    wire = wiretap(world)
    world.cut("tip", 600_000, ["back"])
    until_phase(world, Phase.HOLDING)
    moved = run_of(world).motion
    assert moved is not None
    level = moved.permit.offer_us
    begun = world.now
    until_phase(world, Phase.HELD)
    later = {
        action.drive.permit_us
        for at, action in wire.drives
        if at > begun and action.drive.plan is not None
    }
    assert later == {level}
    assert link(world, "tip").heard(world.now)


def test_a_hold_while_a_joint_is_being_lost_brings_the_others_to_rest_where_that_one_does() -> None:
    world = homed_world(EVEN)
    # A gap a while ago makes the hold give all joints long to hear of it.
    world.cut("middle", 400_000)
    moving(world)
    world.cut("tip", 1 * S)
    world.run_for(350_000)
    assert run_of(world).phase is Phase.MOVING
    world.command(ev.Hold())
    until_phase(world, Phase.HELD)
    assert len(held_places(world)) == 1


def test_a_joint_unheard_for_a_second_near_the_end_is_lost_although_all_have_their_permit() -> None:
    world = homed_world("none")
    play(world, "G90 G94\nG0 A30\nG4 P4\nG0 A0\nM2\n")
    until_phase(world, Phase.MOVING)
    until(world, lambda: path_us(world, "tip") > 2 * S)
    world.cut("tip", 60 * S)
    until_phase(world, Phase.HELD)
    assert "tip" in report_of(world).holds[0].cause
    refused = refusal(world, ev.Resume())
    assert refused.code == "joint-offline"
    assert "tip" in refused.message
    assert state(world, "tip") is JointState.HELD


def held_apart(world: World) -> float:
    """Hold with the base behind the others; gives by how much."""
    moving(world)
    # The base hears nothing more and holds at its permit; the others miss the levelling.
    world.cut("base", 2 * S, ["forward"])
    world.run_for(150_000)
    for name in ("middle", "tip"):
        world.cut(name, 1 * S, ["forward"])
    until_phase(world, Phase.HELD)
    world.run_for(3 * S)
    places = [path_us(world, name) for name in NAMES]
    truth(world)
    assert places[0] < places[1] == places[2]
    return places[1] - places[0]


def test_a_joint_lost_before_a_far_instant_stops_all_within_its_first_permit() -> None:
    world = homed_world(EVEN)
    # The worst link delay remembers this for a while, so the start delay is longer than a joint may
    # be unheard.
    world.cut("tip", 3 * S)
    world.run_for(4 * S)
    play(world, LONG)
    until_phase(world, Phase.MOVING)
    world.cut("tip", 4 * S)
    until_phase(world, Phase.HELD)
    assert report_of(world).holds[0].cause == "tip was not heard for 1 s"
    # It may hold sooner, by silence; the others stop where its first permit ends.
    assert max(held_places(world)) <= 2 * FIRST_PERMIT_US
    world.run_for(4 * S)
    world.command(ev.Resume())
    finish(world)


def test_a_resume_brings_up_the_joints_that_are_behind_before_any_goes_on() -> None:
    world = homed_world(EVEN)
    # Two windows and more would be a fault of the permit (design section 5).
    apart_us = held_apart(world)
    assert apart_us <= 400_000
    furthest = path_us(world, "tip")
    run = arm_snapshot(world.core, world.now).run
    assert run is not None
    shown = run.behind_us
    assert shown is not None
    assert shown == {name: furthest - path_us(world, name) for name in NAMES}
    assert max(shown.values()) == apart_us > 0
    # What is shown as done every joint has done.
    assert run.path_us == min(path_us(world, name) for name in NAMES)
    world.command(ev.Resume())
    finish(world)
    began = of_kind(truth(world), "resume")
    assert {len(events) for events in began.values()} == {1}
    assert {e.path_us for events in began.values() for e in events} == {furthest}


def test_an_advance_whose_permission_runs_out_goes_on_and_is_no_partial_start() -> None:
    world = homed_world(EVEN)
    held_apart(world)
    world.command(ev.Resume())
    until(world, lambda: state(world, "base") is JointState.ADVANCING)
    world.run_for(200_000)
    # Longer than the permission of 250 ms, shorter than the patience of 2 s.
    world.cut("base", 700_000, ["forward"])
    until(world, lambda: state(world, "base") is JointState.RAMPING)
    # The link is back and a drive on its way at once: the ramp itself is heard of.
    world.faulty_link("base").replace(EVEN, 1, world.now)
    world.command(ev.Override(1_000_000))
    finish(world)
    assert report_of(world).partial_starts == 0
    assert len(report_of(world).holds) == 1


def test_a_hold_while_a_joint_is_being_brought_up_waits_until_it_rests() -> None:
    world = homed_world(EVEN)
    held_apart(world)
    world.command(ev.Resume())
    # What comes back now was said before the joint heard that it may advance.
    world.run_for(4_000)
    world.cut("base", 300_000, ["forward"])
    world.command(ev.Hold())
    until_phase(world, Phase.HELD)
    assert at_rest(world)
    place = path_us(world, "base")
    world.run_for(2 * S)
    assert path_us(world, "base") == place
    world.command(ev.Resume())
    finish(world)


def test_when_the_furthest_has_finished_the_advance_of_the_others_ends_the_run() -> None:
    world = homed_world(EVEN)
    play(world, "G90 G94\nG1 A30 F1200\nM2\n")
    until_phase(world, Phase.MOVING)
    end = run_of(world).point_feed.end_us
    assert end is not None
    until(world, lambda: path_us(world, "tip") > end - 700_000)
    # From here on the base hears nothing and the others already may go to the end.
    world.cut("base", 3 * S, ["forward"])
    until(world, lambda: state(world, "tip") in (JointState.FINISHED, JointState.HELD))
    until_phase(world, Phase.HELD, Phase.ENDED)
    if run_of(world).phase is Phase.HELD:
        world.run_for(3 * S)
        world.command(ev.Resume())
    finish(world)
    assert all(report_of(world).finished_at_us[name] for name in NAMES)


def test_resume_is_refused_where_nothing_is_held() -> None:
    world = homed_world("none")
    assert refusal(world, ev.Resume()).code == "no-run"
    assert refusal(world, ev.Hold()).code == "no-run"
    moving(world)
    assert refusal(world, ev.Resume()).code == "not-held"


def test_a_hold_goes_by_what_the_links_need_now_though_they_were_poor_a_moment_ago() -> None:
    world = homed_world("none")
    moving(world)
    at_work = run_of(world).motion
    assert at_work is not None
    at_work._worst_delay_us, at_work._measured_us = 500_000, world.laptop.now
    worst_delay_us = max(one.quality.worst_delay_us for one in world.core.links)
    heard_us = world.laptop.now + max(1.5 * worst_delay_us, ECHO_MIN_US)
    assert heard_us < world.laptop.now + 500_000
    world.command(ev.Hold())
    assert at_work.permit.offer_us <= at_work.course.at(heard_us)[0]


def test_hold_can_be_asked_for_again_and_again() -> None:
    world = homed_world("none")
    moving(world)
    world.command(ev.Hold())
    world.command(ev.Hold())
    until_phase(world, Phase.HELD)
    world.command(ev.Hold())
    assert run_of(world).phase is Phase.HELD


@pytest.mark.parametrize("phase", [Phase.LOADING, Phase.PREPARING])
def test_a_hold_before_anything_is_armed_starts_nothing_and_a_resume_does(phase: Phase) -> None:
    world = homed_world(EVEN)
    play(world)
    until_phase(world, phase)
    world.command(ev.Hold())
    until_phase(world, Phase.HELD)
    world.run_for(3 * S)
    assert run_of(world).phase is Phase.HELD
    assert report_of(world).holds[0].cause == "the operator asked"
    assert not any(of_kind(truth(world), "start").values())
    world.command(ev.Resume())
    finish(world)
    assert report_of(world).partial_starts == 0


def test_a_hold_while_loading_is_taken_back_by_a_resume() -> None:
    world = homed_world(EVEN)
    play(world)
    world.command(ev.Hold())
    world.command(ev.Resume())
    finish(world)
    assert report_of(world).holds == []


def test_a_hold_at_a_programmed_pause_is_refused_for_nothing_moves() -> None:
    world = homed_world(EVEN)
    play(world, "G90 G94\nG0 A10\nM0\nG0 A0\nM2\n")
    until_phase(world, Phase.PAUSED)
    refused = refusal(world, ev.Hold())
    assert refused.code == "nothing-moves"
    assert refused.message == "run 1 waits for resume at the pause of line 3; nothing moves"
    world.command(ev.Resume())
    finish(world)


def test_a_hold_at_the_very_end_is_refused_or_harmless() -> None:
    world = homed_world(EVEN)
    play(world)
    until_phase(world, Phase.DISCARDING)
    assert refusal(world, ev.Hold()).code == "nothing-moves"
    finish(world)


def test_a_hold_near_the_end_lets_the_run_finish_where_the_way_to_rest_passes_it() -> None:
    world = homed_world(EVEN)
    play(world, "G90 G94\nG1 A30 F1200\nM2\n")
    until_phase(world, Phase.MOVING)
    end = run_of(world).point_feed.end_us
    assert end is not None
    until(world, lambda: path_us(world, "tip") > end - 100_000)
    world.command(ev.Hold())
    finish(world)


# ---- feed override --------------------------------------------------------------------------
