"""What a run leaves behind: outcome, starts with their proof, joint by joint."""

import json
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.core import events as ev
from coordinator.core.run import Phase
from coordinator.core.run.report import (
    ESTIMATE_LEAST_US,
    ESTIMATE_LIMIT,
    HoldRecord,
    JointStart,
    Report,
    StartRecord,
)
from coordinator.core.run.report_snapshot import report_snapshot, start_snapshot
from coordinator.core.snapshot.arm import arm_snapshot
from coordinator.records.counts import RunCounts
from protocol.drive import StopLevel
from protocol.messages import Started
from protocol.states import JointState
from tests.as_json import as_json
from tests.coordinator.core.kit import (
    EVEN,
    LONG,
    NAMES,
    S,
    finish,
    homed_world,
    link,
    moving,
    of_kind,
    play,
    report_of,
    run_of,
    truth,
    unit,
    until,
    until_phase,
)  # fmt: skip


def test_a_finished_runs_report_has_every_figure_of_every_joint() -> None:
    world = homed_world("home")
    number = play(world)
    finish(world)
    shown = json.loads(json.dumps(as_json(report_snapshot(world.core.reports[number]))))
    assert shown["run"] == number
    assert shown["outcome"] == "finished"
    assert shown["message"] == ""
    assert shown["began_at_us"] < shown["start"]["at_us"] < shown["ended_at_us"]
    start = shown["start"]
    assert start["attempts"] == 1
    assert 0 < start["start_delay_us"] < 1_500_000  # design section 4.1
    assert 0 <= start["start_skew_us"] <= start["start_skew_max_us"]
    assert [joint["name"] for joint in shown["joints"]] == list(NAMES)
    for joint in shown["joints"]:
        assert 0 < joint["start_margin_us"] <= start["start_delay_us"]
        assert joint["clock_uncertainty_us"] > 0
        assert shown["began_at_us"] < joint["started_at_us"] < joint["finished_at_us"]
    assert shown["partial_starts"] == 0
    assert shown["holds"] == []


def test_the_hottest_of_a_run_is_what_a_joint_told_in_it_and_not_before_nor_after() -> None:
    world = homed_world("none")
    told: dict[str, list[int]] = {name: [] for name in NAMES}
    number = play(world)
    while world.core.run is not None and world.core.run.active:
        for name in NAMES:
            status = link(world, name).status
            assert status is not None
            assert status.temperature_centi_c is not None
            told[name].append(status.temperature_centi_c)
        world.run_for(10_000)
    shown = report_snapshot(world.core.reports[number])
    assert {one.name: one.hottest_c for one in shown.joints} == {
        name: max(centi_c) / 100 for name, centi_c in told.items()
    }
    assert all(one.firmware for one in shown.joints)
    run_of(world).report.hottest_centi_c.clear()
    world.run_for(1 * S)
    assert run_of(world).report.hottest_centi_c == {}, "it is over"


def test_a_temperature_that_cannot_be_believed_is_nobodys_hottest() -> None:
    world = homed_world("none")
    moving(world)
    link(world, "tip").health.sensor.trouble = "tip: its temperature sensor reads 300 °C"
    run_of(world).report.hottest_centi_c.clear()
    run_of(world).heard(link(world, "tip"))
    assert "tip" not in run_of(world).report.hottest_centi_c
    run_of(world).heard(link(world, "base"))
    assert "base" in run_of(world).report.hottest_centi_c


def test_an_impossible_reading_between_two_looks_is_nobodys_hottest() -> None:
    world = homed_world("none")
    moving(world)
    tip = link(world, "tip")
    assert tip.status is not None
    assert tip.heard_us is not None
    tip.replied(replace(tip.status, temperature_centi_c=27_990), tip.heard_us + 40_000)
    run_of(world).heard(tip)
    assert run_of(world).report.hottest_centi_c["tip"] < 5_000


def test_the_finish_is_told_in_arm_time_within_the_clock_bound() -> None:
    world = homed_world("quiet")
    play(world)
    finish(world)
    report = report_of(world)
    ended = of_kind(truth(world), "finish")
    for name in NAMES:
        bound = report.starts[0].joints[name].clock_uncertainty_us
        assert bound is not None
        assert abs(report.finished_at_us[name] - ended[name][0].at_ns / 1000) <= 2 * bound


def test_a_hold_is_reported_with_its_cause_and_every_joints_place() -> None:
    world = homed_world("none")
    moving(world)
    world.command(ev.Hold())
    until_phase(world, Phase.HELD)
    (hold,) = as_json(report_snapshot(report_of(world)))["holds"]
    assert hold["cause"] == "the operator asked"
    held = of_kind(truth(world), "hold")
    assert hold["path_us"] == {name: held[name][0].path_us for name in NAMES}
    assert hold["apart_us"] == 0


def test_a_hold_of_which_a_joint_is_not_known_to_rest_says_so_until_it_is() -> None:
    world = homed_world("none")
    moving(world)
    world.cut("tip", 20 * S)
    until_phase(world, Phase.HELD)
    shown = report_snapshot(report_of(world))
    cause = "tip could not be reached in time to let it move on"
    assert shown.message == f"tip has not confirmed that it rests; {cause}"
    (hold,) = shown.holds
    assert hold.unconfirmed == ("tip",)
    assert hold.rests_by_us is not None
    assert hold.at_us < hold.rests_by_us < hold.at_us + 5 * S
    snapshot = arm_snapshot(world.core, world.laptop.now)
    assert snapshot.run is not None
    assert snapshot.run.message == shown.message
    world.run_for(10 * S)
    assert report_snapshot(report_of(world)).message == shown.message
    until(world, lambda: link(world, "tip").rests(world.laptop.now), 60 * S)
    world.run_for(1 * S)
    after = report_snapshot(report_of(world))
    assert after.message == cause
    assert after.holds[0].unconfirmed == ("tip",), "what was so then stays in the report"


@pytest.mark.parametrize("phase", [Phase.LOADING, Phase.PREPARING, Phase.STARTING, Phase.MOVING])
def test_a_hold_tells_who_or_what_asked_for_it(phase: Phase) -> None:
    world = homed_world(EVEN)
    play(world, LONG)
    until_phase(world, phase)
    world.command(ev.Hold(ev.Because.TAKEN_OVER))
    until_phase(world, Phase.HELD)
    assert report_of(world).holds[0].cause == "control was taken over"
    assert report_of(world).why == "control was taken over"


def test_a_run_that_never_started_says_so_without_figures() -> None:
    world = homed_world("none")
    play(world)
    world.command(ev.Stop())
    shown = as_json(report_snapshot(report_of(world)))
    assert shown["start"] is None
    assert shown["outcome"] == "stopped"
    assert all(joint["started_at_us"] is None for joint in shown["joints"])
    assert all(joint["start_margin_us"] is None for joint in shown["joints"])


def test_a_boot_after_the_start_does_not_spoil_what_was_proved() -> None:
    world = homed_world(EVEN)
    moving(world, after_us=2 * S)
    before = as_json(start_snapshot(report_of(world).starts[0]))
    world.kill_joint("tip")
    world.restart_joint("tip")
    until_phase(world, Phase.ENDED)
    world.run_for(3 * S)
    run_of(world).report.settle(world.core.links)
    after = as_json(start_snapshot(report_of(world).starts[0]))
    assert after["joints"]["tip"] == before["joints"]["tip"]
    assert link(world, "tip").sync.clock_epoch > 0


def test_a_start_told_after_the_clock_was_lost_is_not_made_up() -> None:
    world = homed_world(EVEN)
    moving(world)
    record = report_of(world).starts[0]
    tip = link(world, "tip")
    record.joints["tip"] = JointStart(clock_epoch=tip.sync.clock_epoch)
    event = Started(trajectory=1, plan=record.plan, path_us=0, permission_us=1_000, start_us=2_000)
    tip.clock.reset("it is another one")
    record.take(tip, event)
    tip.sync.renew()
    world.run_for(3 * S)
    record.convert(tip)
    assert record.joints["tip"].started_at_us is None
    assert record.start_skew_max_us is None


def test_a_clock_found_wrong_before_anything_confirmed_a_start_takes_its_proof_back() -> None:
    world = homed_world("quiet")
    play(world)
    until(world, lambda: link(world, "tip").in_state(JointState.MOVING))
    record = StartRecord(
        plan=1,
        attempts=1,
        start_delay_us=0,
        confirm_us=0,
        worst_delay_us={"tip": 0},
        at_us=world.now,
        path_us=0,
    )
    tip = link(world, "tip")
    record.joints["tip"] = JointStart(clock_epoch=tip.sync.clock_epoch)
    # It began just now, by a counter that had just been stepped: no exchange has shown that yet.
    began_us = round(unit(world, "tip").joint_us(world.now))
    event = Started(trajectory=1, plan=1, path_us=0, permission_us=began_us - 9, start_us=began_us)
    record.take(tip, event)
    assert record.start_skew_max_us == 0
    unit(world, "tip").oscillator.step(float(world.now), 2_000_000.0)
    until(world, lambda: not tip.clock.locked)
    record.convert(tip)
    assert record.joints["tip"].started_at_us is None
    assert record.start_skew_max_us is None


def test_a_start_that_is_told_only_after_the_clock_was_found_anew_stays_unproved() -> None:
    world = homed_world("quiet")
    told: list[ev.Reported] = []
    handle = world.core.handle

    def delayed(event: ev.Event, now: int) -> None:
        """The tip's stream stalls: what it says of its start comes seconds later."""
        late = isinstance(event, ev.Reported) and isinstance(event.report, Started)
        if (
            late
            and isinstance(event, ev.Reported)
            and event.joint_id == link(world, "tip").joint.id
        ):
            told.append(event)
        else:
            handle(event, now)

    world.core.handle = delayed  # type: ignore[method-assign]
    moving(world)
    assert len(told) == 1
    unit(world, "tip").oscillator.step(float(world.now), 2_000_000.0)
    until(world, lambda: not link(world, "tip").clock.locked)
    until(world, lambda: link(world, "tip").clock.locked)
    handle(told[0], world.now)
    world.run_for(1 * S)
    record = report_of(world).starts[0]
    assert record.joints["tip"].start_margin_us is not None
    # By the clock of now it would have been two seconds earlier than it was.
    assert record.joints["tip"].started_at_us is None
    assert record.start_skew_max_us is None


def test_a_start_names_its_part_so_that_it_is_told_from_a_resume() -> None:
    world = homed_world(EVEN)
    play(world, "G90 G94\nG0 A10\nM0\nG1 A60 F1200\nM2\n")
    until_phase(world, Phase.PAUSED)
    world.command(ev.Resume())
    until_phase(world, Phase.MOVING)
    world.run_for(1 * S)
    world.command(ev.Hold())
    until_phase(world, Phase.HELD)
    world.command(ev.Resume())
    finish(world)
    starts = as_json(report_snapshot(report_of(world)))["starts"]
    assert [start["part"] for start in starts] == [1, 2, 2]
    assert [start["path_us"] > 0 for start in starts] == [False, False, True]


def test_report_is_announced_whenever_it_has_something_new_so_that_it_can_be_kept() -> None:
    world = homed_world("home")
    kept: list[dict[str, Any]] = []
    poll = world.core.poll

    def noted(now: int) -> list[ev.Action]:
        actions = poll(now)
        kept.extend(
            as_json(report_snapshot(report_of(world)))
            for action in actions
            if action == ev.ReportGrew(1)
        )
        return actions

    world.core.poll = noted  # type: ignore[method-assign]
    moving(world)
    assert kept[-1] == as_json(report_snapshot(report_of(world)))
    assert kept[-1]["start"]["start_skew_max_us"] is not None
    world.command(ev.Hold())
    until_phase(world, Phase.HELD)
    assert kept[-1] == as_json(report_snapshot(report_of(world)))
    assert len(kept[-1]["holds"]) == 1
    world.command(ev.Resume())
    finish(world)
    world.run_for(1 * S)
    assert kept[-1] == as_json(report_snapshot(report_of(world)))
    assert (kept[-1]["outcome"], len(kept[-1]["starts"])) == ("finished", 2)
    # Not at every turn: some for each start, its joints, the hold, the end.
    assert len(kept) < 40


def test_overrides_that_were_in_force_are_reported_with_their_instants() -> None:
    world = homed_world(EVEN)
    play(world, LONG)
    world.command(ev.Override(500_000))
    until_phase(world, Phase.MOVING)
    world.run_for(2 * S)
    world.command(ev.Override(750_000))
    asked_us = world.now
    until(world, lambda: len(report_of(world).overrides) == 2)
    world.command(ev.Hold())
    until_phase(world, Phase.HELD)
    world.command(ev.Override(100_000))
    world.command(ev.Stop())
    shown = as_json(report_snapshot(report_of(world)))
    first, second = shown["overrides"]
    assert first == {"at_us": shown["start"]["at_us"], "percent": 50.0}
    assert second["percent"] == 75.0
    assert second["at_us"] > asked_us


@pytest.mark.parametrize(
    ("level", "word"),
    [
        (StopLevel.STOP, "stop"),
        (StopLevel.STOP_AND_RELEASE, "stop-and-release"),
        (StopLevel.RELEASE, "release"),
    ],
)
def test_stopped_runs_report_names_the_level(level: StopLevel, word: str) -> None:
    world = homed_world("none")
    moving(world)
    world.command(ev.Stop(level))
    assert as_json(report_snapshot(report_of(world)))["stop_level"] == word


def test_of_all_parts_the_smallest_buffer_margin_is_kept() -> None:
    report = Report(1, "in three parts", NAMES, 0)
    for margin_us in (7, 3, 9):
        report.keep_buffer_margin({"tip": margin_us})
    assert report.buffer_margin_us == {"tip": 3}


def test_run_that_ended_without_a_stop_has_no_level() -> None:
    world = homed_world("none")
    play(world)
    finish(world)
    assert as_json(report_snapshot(report_of(world)))["stop_level"] is None


def test_reports_are_numbered_on_from_the_first_run_asked_for_and_old_ones_let_go() -> None:
    world = homed_world("none")
    for _ in range(3):
        play(world)
        world.command(ev.Stop())
        world.run_for(1 * S)
    assert sorted(world.core.reports) == [1, 2, 3]


interval = st.tuples(st.integers(0, 10**6), st.integers(0, 5_000)).map(
    lambda found: (found[0], found[0] + found[1])
)


@given(intervals=st.lists(interval, min_size=1, max_size=6), data=st.data())
def test_the_bound_holds_for_any_true_instants_within_the_intervals(
    intervals: list[tuple[int, int]], data: st.DataObject
) -> None:
    record = StartRecord(1, 1, 1, 1, {}, 0, 0)
    truths = []
    for k, (low, high) in enumerate(intervals):
        record.joints[str(k)] = JointStart(earliest_us=low, latest_us=high)
        truths.append(data.draw(st.integers(low, high)))
    assert record.start_skew_max_us is not None
    if len(intervals) > 1:
        assert max(truths) - min(truths) <= record.start_skew_max_us
    if record.start_skew_us is not None:
        assert (
            record.start_skew_us
            <= record.start_skew_max_us
            <= ESTIMATE_LIMIT * max(record.start_skew_us, ESTIMATE_LEAST_US)
        )


def test_report_keeps_the_line_in_which_the_run_was_and_tells_it_before_the_end() -> None:
    world = homed_world()
    told: list[int | None] = []
    number = moving(world, after_us=1 * S)
    poll = world.core.poll

    def noted(now: int) -> list[ev.Action]:
        actions = poll(now)
        told.extend(report_of(world).line for one in actions if isinstance(one, ev.ReportGrew))
        return actions

    world.core.poll = noted  # type: ignore[method-assign]
    course = run_of(world).course
    assert course is not None
    place = run_of(world).point_feed.line_at(round(course.at(world.now)[0]))[0]
    assert report_of(world).line == place == 2
    until(world, lambda: report_of(world).line == 3)
    world.run_for(round(2.5 * S))
    if run_of(world).number == number and report_of(world).ended_us is None:
        assert 3 in told, "a crash from here on would lose it"
    world.command(ev.Stop())
    world.run_for(1 * S)
    assert report_of(world).line == 3


def test_of_many_holds_and_speeds_the_first_and_the_last_hundred_are_told() -> None:
    report, counts = Report(1, "tray", ("base",), 0), RunCounts()
    for at_us in range(250):
        report.held(HoldRecord(at_us, "the operator asked", {"base": 0}, 0, (), None))
        report.goes_at(500_000 + at_us, at_us)
        counts.take(report)
    shown = report_snapshot(report)
    kept = [*range(100), *range(150, 250)]
    assert [one.at_us for one in shown.holds] == kept
    assert [one.at_us for one in shown.overrides] == kept
    assert (shown.holds_left_out, shown.overrides_left_out) == (50, 50)
    assert counts.holds == 250


def test_of_many_starts_all_are_counted_and_the_first_and_the_last_hundred_told() -> None:
    report, counts = Report(1, "tray", ("base",), 0), RunCounts()
    for at_us in range(250):
        report.began(StartRecord(1, 1, 0, 0, {"base": 0}, at_us, 0, {"base": JointStart()}))
        counts.take(report)
    shown = report_snapshot(report)
    assert [one.at_us for one in shown.starts] == [*range(100), *range(150, 250)]
    assert (shown.starts_left_out, counts.starts) == (50, 250)
