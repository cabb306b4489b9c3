"""The arm's state as plain values: all of it JSON, and what is unknown is null, never zero."""

from collections.abc import Callable
from typing import Any

import pytest

from coordinator.core import events as ev
from coordinator.core.preview import planned_position, preview
from coordinator.core.run import Phase
from coordinator.core.snapshot.arm import arm_snapshot
from coordinator.rehearsal.world import World
from protocol.drive import StopLevel
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
    path_us,
    play,
    positions,
    refusal,
    run_of,
    small_arm,
    start_skew_us,
    truth,
    unit,
    units,
    until,
    until_phase,
    world_up,
)  # fmt: skip


def shown(world: World) -> dict[str, Any]:
    """The snapshot, through JSON and back."""
    found: dict[str, Any] = as_json(arm_snapshot(world.core, world.now))
    return found


def joint(world: World, name: str) -> dict[str, Any]:
    found: dict[str, Any] = next(one for one in shown(world)["joints"] if one["name"] == name)
    return found


def test_before_anything_is_heard_everything_about_a_joint_is_null() -> None:
    arm = small_arm()
    world = World(arm, units(arm, 1), "none", 1)
    found = joint(world, "tip")
    known = {"name", "id", "word", "link", "link_message", "clock", "measured", "stop_wanted"}
    known |= {"configuration_message", "range_deg", "warning_c", "limit_c"}
    known |= {"velocity_limit_deg_s", "jog_speeds_deg_s", "acceleration_limit_deg_s2", "counters"}
    known |= {"microstep_deg"}
    known |= {"full_current_because", "supply"}
    assert {key for key, value in found.items() if value is not None} == known
    assert found["link"] == "offline"
    assert found["clock"]["uncertainty_us"] is None
    assert found["clock"]["rate_ppm"] is None
    assert found["clock"]["locked"] is False
    assert found["measured"] is False
    assert found["supply"] == {
        "lost": None,
        "expected_v": None,
        "expected_message": "not every joint has told its volts while loads stood still",
        "hop_ohm": 0.05,
        "hop_uncertainty_ohm": None,
        "hop_message": "loads stood still 0 times so far, 8 are needed",
    }
    assert found["counters"] == {
        "exchanges": 0, "lost": 0, "streams": 0, "boots_seen": 0,
        "touch_presses": None, "touch_long_presses": None, "touch_turn": None,
    }  # fmt: skip


def test_an_unhomed_joint_has_no_angle() -> None:
    world = world_up("none")
    assert joint(world, "tip")["position_deg"] is None
    assert joint(world, "tip")["homed"] is False


def test_a_joint_without_trajectory_has_no_place_on_one() -> None:
    world = homed_world("none")
    found = joint(world, "tip")
    assert found["path_us"] is found["buffered_us"] is found["permit_us"] is None
    moving(world)
    found = joint(world, "tip")
    assert found["path_us"] > 0
    assert found["buffered_us"] > found["path_us"]
    assert found["permit_us"] > found["path_us"]


def test_angles_temperatures_and_supply_are_the_true_ones_in_their_units() -> None:
    world = homed_world("quiet")
    play(world, "G90 G94\nG0 A12 B7 C33\nM2\n")
    finish(world)
    world.run_for(2 * S)
    for name, angle in zip(NAMES, (12, 7, 33), strict=True):
        found = joint(world, name)
        assert found["position_deg"] == pytest.approx(angle, abs=0.01)
        assert found["velocity_deg_s"] == 0
        # The sensor is good for ±2 °C (Analog Devices TMP3x data sheet), its ADC for less.
        assert found["temperature_c"] == pytest.approx(
            unit(world, name).temperature_c(world.now), abs=2
        )
        assert found["supply_v"] == pytest.approx(24.0, abs=0.5)
        assert 0 < found["rtt_p50_us"] <= found["rtt_p99_us"] <= found["worst_delay_us"]
        assert found["clock"]["locked"]
        assert 0 < found["clock"]["uncertainty_us"] < 5_000
        assert found["age_us"] < 1 * S
        assert found["faults"] == []


def test_a_joint_above_its_warning_is_shown_as_warm_and_told_of_once() -> None:
    world = homed_world("none")
    assert joint(world, "tip")["warm"] is False
    # The arm file warns at 50 °C and the joint stops at 58; it stands in a room of 25 °C.
    for warmer_c in range(0, 28, 3):  # no faster than a joint may warm
        unit(world, "tip").warmer_c = float(warmer_c)
        world.run_for(1 * S)
    world.run_for(1 * S)
    assert joint(world, "tip")["temperature_c"] > 50
    assert joint(world, "tip")["warm"] is False
    world.run_for(60 * S)
    assert joint(world, "tip")["warm"] is True
    assert joint(world, "base")["warm"] is False
    (note,) = [note for note in world.notes if note.code == "joint-warm"]
    assert (note.level, note.joint) == ("attention", "tip")
    assert note.message.startswith("tip is warm: 5")
    assert note.message.endswith("above its warning at 50 °C; at its limit of 58 °C the arm stops")
    unit(world, "tip").warmer_c = 0.0
    world.run_for(3 * S)
    assert joint(world, "tip")["warm"] is False


def test_the_age_of_what_is_shown_grows_when_nothing_is_heard() -> None:
    world = homed_world("none")
    world.cut("tip", 5 * S)
    world.run_for(3 * S)
    assert joint(world, "tip")["age_us"] >= 2_700_000
    assert joint(world, "base")["age_us"] < 300_000


def test_a_stop_is_shown_as_wanted_until_a_joint_has_confirmed_it() -> None:
    world = homed_world(EVEN)
    assert joint(world, "tip")["stop_wanted"] == 0
    world.cut("tip", 3 * S)
    world.break_stream("tip")
    world.command(ev.Stop(StopLevel.STOP_AND_RELEASE))
    world.run_for(1 * S)
    found = {
        name: (joint(world, name)["stop_wanted"], joint(world, name)["stop"]) for name in NAMES
    }
    assert found == {"base": (0, 2), "middle": (0, 2), "tip": (2, 0)}
    until(world, lambda: joint(world, "tip")["stop"] == 2)
    assert joint(world, "tip")["stop_wanted"] == 0


def test_a_run_shows_phase_part_line_and_place() -> None:
    world = homed_world("none")
    assert shown(world)["run"] is None
    moving(world, text="G90 G94\nG0 A30\nG0 A0\nM0\nG0 A5\nM2\n")
    found = shown(world)
    assert found["phase"] == "moving"
    assert found["run"]["part"] == 1
    assert found["run"]["parts"] == 2
    assert found["run"]["line"] in (2, 3)
    assert found["run"]["path_us"] == pytest.approx(path_us(world, "tip"), abs=2_000)
    assert found["run"]["end_us"] > found["run"]["path_us"]
    assert found["run"]["rate_percent"] == 100
    end_us = found["run"]["end_us"]
    until_phase(world, Phase.PAUSED)
    assert shown(world)["phase"] == "paused"
    assert shown(world)["run"]["line"] == 4
    assert shown(world)["run"]["path_us"] == shown(world)["run"]["end_us"] == end_us


def test_a_run_shows_its_newest_start_set_before_it_comes_and_proved_afterwards() -> None:
    world = homed_world("home")
    play(world, "G90 G94\nG0 A30\nG0 A0\nM2\n")
    until(world, lambda: shown(world)["run"]["start"] is not None)
    start = shown(world)["run"]["start"]
    assert start["set"] is True
    assert start["at_us"] > world.now
    assert (start["path_us"], start["attempts"], start["start_skew_us"]) == (0, 1, None)
    until(world, lambda: shown(world)["run"]["start"]["start_skew_us"] is not None)
    proved = shown(world)["run"]["start"]
    assert (proved["set"], proved["at_us"]) == (False, start["at_us"])
    assert proved["start_skew_us"] <= proved["start_skew_max_us"]
    assert set(proved["start_margin_us"]) == set(NAMES)
    assert all(
        0 < margin < proved["start_delay_us"] for margin in proved["start_margin_us"].values()
    )


def test_a_start_that_was_withdrawn_is_not_shown_as_one() -> None:
    world = homed_world(EVEN)
    play(world, "G90 G94\nG0 A30\nM2\n")
    until(world, lambda: shown(world)["run"]["start"] is not None)
    world.cut("tip", 3 * S)
    seen = []
    while run_of(world).phase is Phase.STARTING:
        start = shown(world)["run"]["start"]
        seen.append(start and start["set"])
        world.run_for(20_000)
    assert None in seen
    assert False not in seen


def test_what_is_left_of_a_run_is_counted_at_its_present_speed() -> None:
    world = homed_world(EVEN)
    moving(world, text="G90 G94\nG0 A30\nG0 A0\nM2\n")
    world.command(ev.Override(500_000))
    found = shown(world)["run"]
    assert found["lines"] == 4
    assert found["left_us"] == pytest.approx(2 * (found["end_us"] - found["path_us"]), abs=2)


def test_before_a_start_it_is_shown_how_far_ahead_and_how_far_apart_it_would_be() -> None:
    world = homed_world("quiet")
    world.run_for(5 * S)
    would_be = shown(world)["start_forecast"]
    assert would_be["obstacle"] is None
    assert would_be["slowest"] in NAMES
    moving(world, text=LONG)
    assert shown(world)["start_forecast"] is None
    world.run_for(1 * S)
    start = run_of(world).report.starts[0]
    # What was said before is what was done: the same rule, on links that are as they were.
    assert start.start_delay_us == pytest.approx(would_be["start_delay_us"], rel=0.5)
    starts = of_kind(truth(world), "start").values()
    assert start_skew_us([started for (started,) in starts]) <= would_be["within_us"]
    assert start.start_skew_max_us == pytest.approx(would_be["within_us"], rel=1.0)


def test_what_keeps_a_start_from_being_made_is_shown_instead_of_its_figures() -> None:
    world = world_up("none")
    would_be = shown(world)["start_forecast"]
    assert (would_be["start_delay_us"], would_be["within_us"]) == (None, None)
    assert would_be["obstacle"]["code"] == "not-homed"
    world = homed_world("none")
    world.cut("tip", 5 * S)
    world.run_for(3 * S)
    assert (
        shown(world)["start_forecast"]["obstacle"]["message"] == "tip is offline: silent for 3.0 s"
    )


def test_a_run_that_rests_says_why_it_could_not_go_on_and_nothing_where_it_could() -> None:
    world = homed_world("none")
    moving(world)
    assert shown(world)["run"]["obstacle"] is None
    world.command(ev.Hold())
    until_phase(world, Phase.HELD)
    assert shown(world)["run"]["obstacle"] is None
    world.kill_joint("tip")
    world.run_for(2 * S)
    refused = refusal(world, ev.Resume())
    found = shown(world)["run"]["obstacle"]
    assert (found["code"], found["message"]) == (refused.code, refused.message)


def test_a_joint_that_refuses_its_configuration_is_connected_and_says_so() -> None:
    world = world_up("none")
    link(world, "tip").connection.configuration_refused("the ramp is too steep")
    found = joint(world, "tip")
    assert (found["link"], found["link_message"]) == ("up", "")
    assert (
        found["configuration_message"] == "does not take its configuration: the ramp is too steep"
    )
    assert "the ramp is too steep" in refusal(world, ev.Home(("tip",))).message


def test_streams_and_restarts_of_a_joint_are_counted() -> None:
    world = homed_world("none")
    before = joint(world, "tip")["counters"]
    assert (before["streams"], before["boots_seen"]) == (1, 0)
    assert 150 <= before["exchanges"] <= 200  # those of the last second may be under way
    assert before["lost"] == 0
    world.kill_joint("tip")
    world.run_for(2 * S)
    world.restart_joint("tip")
    until(world, lambda: link(world, "tip").up and link(world, "tip").heard(world.now))
    after = joint(world, "tip")["counters"]
    assert (after["streams"], after["boots_seen"]) == (2, 1)
    assert joint(world, "base")["counters"]["streams"] == 1


def test_planned_angles_are_where_the_joints_will_be() -> None:
    world = homed_world(EVEN)
    assert preview(world.core.run, world.now) is None
    moving(world, text="G90 G94\nG0 A30 B-20\nG0 A0\nM2\n")
    plan = preview(world.core.run, world.now)
    assert plan is not None
    assert (plan.at_us, set(plan.deg)) == (world.now, set(NAMES))
    for k in range(10):
        for name, counts in zip(NAMES, positions(world), strict=True):
            truly = link(world, name).joint.to_degrees(counts)
            assert plan.deg[name][k] == pytest.approx(truly, abs=0.1)
        world.run_for(plan.step_us)
    assert {len(angles) for angles in plan.deg.values()} == {16}


def test_a_joint_tells_that_it_is_where_its_plan_has_it_in_motion_and_in_its_ramp() -> None:
    world = homed_world(EVEN)
    moving(world, text="G90 G94\nG0 A30 B-20\nG0 A0\nM2\n")
    told: set[JointState] = set()
    for step in range(60):
        if step == 10:
            world.command(ev.Hold())
        world.run_for(40_000)
        for name in NAMES:
            one = link(world, name)
            assert one.status is not None
            told.add(one.status.state)
            planned = planned_position(world.core.run, one)
            if one.status.state not in (JointState.MOVING, JointState.RAMPING):
                assert planned is None
                continue
            assert planned is not None
            assert abs(one.joint.to_degrees(planned - one.status.position)) < 0.001
    assert told == {JointState.MOVING, JointState.RAMPING, JointState.HELD}


def test_planned_angles_stay_at_the_end_and_end_with_a_hold() -> None:
    world = homed_world(EVEN)
    moving(world, 200_000, "G90 G94\nG0 A5\nM2\n")
    plan = preview(world.core.run, world.now)
    assert plan is not None
    assert plan.deg["base"][-2:] == (5.0, 5.0)
    world.command(ev.Hold())
    world.run_for(20_000)
    assert preview(world.core.run, world.now) is None


def test_a_pause_before_any_motion_has_its_line_and_is_at_the_beginning() -> None:
    world = homed_world("none")
    play(world, "G90\nM0\nG0 A5\nM2\n")
    until_phase(world, Phase.PAUSED)
    assert (shown(world)["run"]["line"], shown(world)["run"]["path_us"]) == (2, 0)


def test_a_held_run_still_shows_its_line_and_place() -> None:
    world = homed_world(EVEN)
    moving(world, text="G90 G94\nG0 A30\nG0 A0\nM2\n")
    world.command(ev.Hold())
    until_phase(world, Phase.HELD)
    found = shown(world)["run"]
    assert found["path_us"] == pytest.approx(path_us(world, "tip"), abs=1)
    assert found["line"] in (2, 3)


def test_the_place_shown_never_runs_ahead_of_the_joints_while_they_come_to_rest() -> None:
    world = homed_world(EVEN)
    moving(world, text="G90 G94\nG0 A30\nG0 A0\nM2\n")
    world.command(ev.Hold())
    places = []
    while run_of(world).phase is not Phase.HELD:
        world.run_for(20_000)
        places.append(shown(world)["run"]["path_us"])
        assert places[-1] <= path_us(world, "tip") + 1
    assert places == sorted(places)


def test_a_joint_that_is_not_heard_is_not_asked_where_the_run_is() -> None:
    world = homed_world(EVEN)
    moving(world)
    world.cut("tip", 60 * S)
    until_phase(world, Phase.HELD)
    assert shown(world)["run"]["path_us"] == pytest.approx(path_us(world, "base"), abs=1)


def test_the_place_of_a_run_held_apart_is_that_of_the_joint_that_is_least_far() -> None:
    world = homed_world(EVEN)
    moving(world)
    # Its answers are lost, so that it hears of more than the coordinator knows.
    world.cut("tip", 2 * S, ["forward"])
    world.run_for(100_000)
    world.command(ev.Hold())
    until_phase(world, Phase.HELD)
    until(world, lambda: link(world, "tip").heard(world.now) and link(world, "tip").at_rest)
    places = [path_us(world, name) for name in NAMES]
    assert max(places) - min(places) > 1_000
    assert shown(world)["run"]["path_us"] == pytest.approx(min(places), abs=1)


def go_home(world: World) -> None:
    world.command(ev.Home())


def jog(world: World) -> None:
    world.command(ev.Jog({"tip": 5.0}))


@pytest.mark.parametrize(
    ("act", "phase"), [(go_home, "homing"), (jog, "jogging"), (lambda _world: None, "idle")]
)
def test_the_phase_says_what_goes_on(act: Callable[[World], None], phase: str) -> None:
    world = world_up("none")
    act(world)
    world.run_for(100_000)
    assert shown(world)["phase"] == phase


def test_the_line_shown_is_the_one_being_played() -> None:
    world = homed_world(EVEN)
    play(world, "G90 G94\nG0 A10\nG4 P1\nG0 A0\nG4 P1\nG0 B10\nM2\n")
    until_phase(world, Phase.MOVING)
    seen: list[int] = []

    def over() -> bool:
        run = shown(world)["run"]
        if run is not None and run["line"] and (not seen or seen[-1] != run["line"]):
            seen.append(run["line"])
        return run is None

    until(world, over)
    assert seen == [2, 3, 4, 5, 6]


def test_notes_are_sentences_with_level_code_and_joint() -> None:
    world = homed_world(EVEN)
    moving(world)
    world.kill_joint("tip")
    world.restart_joint("tip")
    until_phase(world, Phase.ENDED)
    world.command(ev.Stop())
    world.run_for(1 * S)
    notes = shown(world)["notes"]
    lines = [note["code"] for note in notes if not note["detail"]]
    assert lines == ["homing-done", "joint-restarted"]
    assert len(notes) > len(lines)
    for note in notes:
        assert note["level"] in ("info", "attention", "danger")
        assert note["code"] == note["code"].lower()
        assert len(note["message"].split()) >= 3
        assert note["joint"] is None or note["joint"] in note["message"]
