"""Running together: lease, levelling, hold, resume and feed override, on what really happened."""

import pytest

from coordinator.core import events as ev
from coordinator.core.run import Phase
from coordinator.core.snapshot import snapshot
from coordinator.rehearsal.world import World
from coordinator.timing.lead import ECHO_MIN_US
from protocol.constants import FIRST_LEASE_US, PPM
from protocol.states import JointState
from simulator.network import Direction
from tests.coordinator.core.kit import (
    EVEN,
    LONG,
    NAMES,
    S,
    at_rest,
    codes,
    describe,
    finish,
    home,
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
    unit,
    until,
    until_phase,
    wiretap,
)


def held_places(world: World) -> set[float]:
    """Path times at which joints truly came to hold since last asked."""
    return {e.path_us for events in of_kind(truth(world), "hold").values() for e in events}


@pytest.mark.parametrize("profile", ["none", "quiet", "home"])
def test_a_hold_stops_all_joints_at_the_very_same_path_time(profile: str) -> None:
    world = homed_world(profile)
    moving(world)
    asked = world.now
    world.command(ev.Hold())
    until_phase(world, Phase.HELD)
    assert len(held_places(world)) == 1
    assert report_of(world).holds[0]["apart_us"] == 0
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
        bounds = [one.clock_bound_us(world.now) for one in links(world)]
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
            turns.setdefault(at, set()).add(action.drive.lease_us)
    assert all(len(leases) == 1 for leases in turns.values())
    course = run_of(world).course
    assert course is not None
    for at, leases in turns.items():
        for lease in leases:
            assert lease is not None
            assert lease <= max(100_000, course.at(at + 1 * S)[0])


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
    assert "middle" in report_of(world).holds[0]["cause"]
    world.command(ev.Resume())
    finish(world)
    last = {round(e.path_us) for found in of_kind(truth(world), "finish").values() for e in found}
    assert len(last) == 1


def test_an_outage_shorter_than_the_lease_holds_nothing() -> None:
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
    moved = run_of(world).moving
    assert moved is not None
    level = moved.lease.offer_us
    begun = world.now
    until_phase(world, Phase.HELD)
    later = {
        action.drive.lease_us
        for at, action in wire.drives
        if at > begun and action.drive.plan is not None
    }
    assert later == {level}
    assert link(world, "tip").heard(world.now)


def test_a_joint_unheard_for_a_second_near_the_end_is_lost_although_all_have_their_lease() -> None:
    world = homed_world("none")
    play(world, "G90 G94\nG0 A30\nG4 P4\nG0 A0\nM2\n")
    until_phase(world, Phase.MOVING)
    until(world, lambda: path_us(world, "tip") > 2 * S)
    world.cut("tip", 60 * S)
    until_phase(world, Phase.HELD)
    assert "tip" in report_of(world).holds[0]["cause"]
    refused = refusal(world, ev.Resume())
    assert refused.code == "joint-lost"
    assert "tip" in refused.message
    assert state(world, "tip") is JointState.HELD


def held_apart(world: World) -> float:
    """Hold with the base behind the others; gives by how much."""
    moving(world)
    # The base hears nothing more and holds at its lease; the others miss the levelling.
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


def test_a_joint_lost_before_a_far_instant_stops_all_within_its_first_lease() -> None:
    world = homed_world(EVEN)
    # Q remembers this for a while, so the lead is longer than a joint may be unheard.
    world.cut("tip", 3 * S)
    world.run_for(4 * S)
    play(world, LONG)
    until_phase(world, Phase.MOVING)
    world.cut("tip", 4 * S)
    until_phase(world, Phase.HELD)
    assert report_of(world).holds[0]["cause"] == "nothing was heard from tip for 1 s"
    # It may hold sooner, by silence; the others stop where its first lease ends.
    assert max(held_places(world)) <= 2 * FIRST_LEASE_US
    world.run_for(4 * S)
    world.command(ev.Resume())
    finish(world)


def test_a_resume_brings_up_the_joints_that_are_behind_before_any_goes_on() -> None:
    world = homed_world(EVEN)
    # Two windows and more would be a fault of the lease (design section 5).
    apart_us = held_apart(world)
    assert apart_us <= 400_000
    furthest = path_us(world, "tip")
    shown = snapshot(world.core, world.now)["run"]["behind_us"]
    assert shown == {name: furthest - path_us(world, name) for name in NAMES}
    assert max(shown.values()) == apart_us > 0
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
    world.air("base").replace(EVEN, 1, world.now)
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
    end = run_of(world).feed.end_us
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
    at_work = run_of(world).moving
    assert at_work is not None
    at_work._q_us, at_work._measured_us = 500_000, world.station.now
    q_us = max(one.quality.q_us for one in world.core.links)
    heard_us = world.station.now + max(1.5 * q_us, ECHO_MIN_US)
    assert heard_us < world.station.now + 500_000
    world.command(ev.Hold())
    assert at_work.lease.offer_us <= at_work.course.at(heard_us)[0]


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
    assert report_of(world).holds[0]["cause"] == "the operator asked"
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
    assert refused.message == "run 1 waits for resume at the M0 of line 3; nothing moves"
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
    end = run_of(world).feed.end_us
    assert end is not None
    until(world, lambda: path_us(world, "tip") > end - 100_000)
    world.command(ev.Hold())
    finish(world)


# ---- feed override --------------------------------------------------------------------------


def settled(world: World, rate_ppm: int) -> None:
    """Let time pass until the arm runs at a rate."""
    until(
        world,
        lambda: (
            (m := run_of(world).moving) is not None
            and m.rate_ppm == rate_ppm
            and world.now > m.course.settled_us
        ),
    )


def true_rate(world: World, name: str) -> float:
    """Rate of a joint's path time by true time, measured over 50 ms."""
    before = path_us(world, name)
    world.run_for(50_000)
    return (path_us(world, name) - before) / 50_000


@pytest.mark.parametrize("rate_ppm", [50_000, 300_000, 1_000_000])
def test_an_override_takes_effect_in_all_joints(rate_ppm: int) -> None:
    world = homed_world("home")
    moving(world)
    world.command(ev.Override(500_000))
    settled(world, 500_000)
    world.command(ev.Override(rate_ppm))
    settled(world, rate_ppm)
    for name in NAMES:
        # The joint's crystal and the slewing of its map cost up to 0.05 % (design I5).
        assert true_rate(world, name) == pytest.approx(rate_ppm / PPM, rel=6e-4)
    world.command(ev.Hold())
    until_phase(world, Phase.HELD)
    assert len(held_places(world)) == 1


def test_of_several_overrides_in_a_row_the_last_one_counts() -> None:
    world = homed_world("home")
    moving(world)
    for rate_ppm in (900_000, 400_000, 250_000):
        world.command(ev.Override(rate_ppm))
        world.run_for(10_000)
    settled(world, 250_000)
    assert report_of(world).holds == []


def test_an_override_that_not_all_confirm_in_time_is_withdrawn_and_nothing_holds() -> None:
    world = homed_world(EVEN)
    moving(world)
    world.command(ev.Override(500_000))
    until(world, lambda: (m := run_of(world).moving) is not None and m.next_deadline() is not None)
    moved = run_of(world).moving
    assert moved is not None
    due = moved.next_deadline()
    assert due is not None
    world.cut("tip", due - world.now, ["back"])
    until(world, lambda: "override-withdrawn" in codes(world))
    assert moved.rate_ppm == 1_000_000
    world.run_for(500_000)
    assert run_of(world).phase is Phase.MOVING
    assert true_rate(world, "base") == pytest.approx(1.0, rel=6e-4)
    world.command(ev.Override(500_000))
    settled(world, 500_000)
    finish(world)


def test_an_override_asked_for_while_held_holds_from_the_resume_on() -> None:
    world = homed_world("none")
    moving(world)
    world.command(ev.Hold())
    until_phase(world, Phase.HELD)
    world.command(ev.Override(400_000))
    world.command(ev.Resume())
    until_phase(world, Phase.MOVING)
    settled(world, 400_000)
    assert true_rate(world, "tip") == pytest.approx(0.4, rel=6e-4)


def test_the_speed_of_before_a_hold_is_kept_for_the_resume() -> None:
    world = homed_world("none")
    moving(world)
    world.command(ev.Override(400_000))
    settled(world, 400_000)
    world.command(ev.Hold())
    until_phase(world, Phase.HELD)
    world.command(ev.Resume())
    until_phase(world, Phase.MOVING)
    settled(world, 400_000)


@pytest.mark.parametrize("rate_ppm", [49_999, 1_000_001, 0, -1])
def test_an_override_out_of_range_is_refused_with_the_limits(rate_ppm: int) -> None:
    world = homed_world("none")
    moving(world)
    refused = refusal(world, ev.Override(rate_ppm))
    assert refused.code == "override-range"
    assert "5 to 100 %" in refused.message


# ---- clocks and boots -----------------------------------------------------------------------


@pytest.mark.parametrize("by_us", [20_000.0, -20_000.0, 2_000_000.0])
def test_a_joint_whose_clock_is_stepped_makes_the_arm_hold_and_a_resume_goes_on(
    by_us: float,
) -> None:
    world = homed_world("quiet")
    moving(world)
    unit(world, "tip").oscillator.step(float(world.now), by_us)
    until_phase(world, Phase.HELD)
    assert "clock-unlocked" in codes(world)
    if abs(by_us) < 100_000:
        # It is held at once, not only when the joint finds its new map too far off.
        assert "tip: the clock is not trusted" in report_of(world).holds[0]["cause"]
    world.run_for(3 * S)
    assert at_rest(world)
    world.command(ev.Resume())
    finish(world)


@pytest.mark.parametrize(
    "phase", [Phase.LOADING, Phase.PREPARING, Phase.STARTING, Phase.MOVING, Phase.HOLDING]
)
def test_a_joint_that_boots_in_the_middle_of_a_run_ends_it_and_never_moves_until_homed(
    phase: Phase,
) -> None:
    world = homed_world(EVEN)
    play(world, LONG)
    if phase is Phase.HOLDING:
        until_phase(world, Phase.MOVING)
        world.run_for(1 * S)
        world.command(ev.Hold())
    until_phase(world, phase)
    if phase is Phase.MOVING:
        world.run_for(1 * S)
    place = unit(world, "tip").true_position(world.now)[0]
    truth(world)
    world.kill_joint("tip")
    place = unit(world, "tip").true_position(world.now)[0]
    world.run_for(300_000)
    world.restart_joint("tip")
    until_phase(world, Phase.ENDED)
    report = report_of(world)
    assert report.outcome in ("lost", "refused")
    assert "tip" in report.message
    world.run_for(5 * S)
    assert at_rest(world)
    assert unit(world, "tip").true_position(world.now)[0] == place
    assert state(world, "tip") is JointState.UNHOMED
    assert not unit(world, "tip").joint.energised
    assert refusal(world, ev.Play("again", "", run_of(world).play.parts)).code == "not-homed"
    home(world, "tip")
    play(world)
    finish(world)


@pytest.mark.parametrize("quickly", [True, False])
def test_a_joint_that_boots_while_the_run_is_held_ends_it(quickly: bool) -> None:
    world = homed_world(EVEN)
    moving(world)
    world.command(ev.Hold())
    until_phase(world, Phase.HELD)
    world.kill_joint("tip")
    if not quickly:
        world.run_for(5 * S)
    world.restart_joint("tip")
    until_phase(world, Phase.ENDED)
    assert report_of(world).outcome == "lost"
    assert "tip restarted" in report_of(world).message
    told = refusal(world, ev.Resume())
    assert told.code == "no-run"
    assert told.message == (
        "no program is being played; run 1 ended: tip restarted in the middle of the run; "
        "home it before the next"
    )
    # The places of the joints that rebooted are not known, so they do not count as apart.
    assert report_of(world).holds[0]["apart_us"] == 0


def test_a_boot_while_moving_leaves_the_lost_joints_place_out_of_the_hold() -> None:
    world = homed_world(EVEN)
    moving(world)
    world.kill_joint("tip")
    world.restart_joint("tip")
    until_phase(world, Phase.ENDED)
    assert report_of(world).holds[0]["path_us"]["tip"] is None
    assert report_of(world).holds[0]["apart_us"] <= 400_000


def test_a_joint_that_is_gone_for_good_leaves_the_run_held_until_it_is_stopped() -> None:
    world = homed_world("quiet")
    moving(world)
    world.kill_joint("tip")
    until_phase(world, Phase.HELD)
    world.run_for(20 * S)
    assert refusal(world, ev.Resume()).code == "joint-lost"
    world.command(ev.Stop())
    until_phase(world, Phase.ENDED)
    assert report_of(world).outcome == "stopped"
