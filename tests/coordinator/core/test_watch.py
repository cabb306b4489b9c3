"""Warnings of a whole arm: what they say, what they refuse, and that they move nothing."""

from dataclasses import replace
from typing import Any

import pytest

from coordinator.codes.priority import Priority
from coordinator.core import events as ev
from coordinator.core.machine import Coordinator
from coordinator.core.run import Phase
from coordinator.core.snapshot.arm import arm_snapshot
from coordinator.core.snapshot.joint import joint_snapshot
from coordinator.health.alarm_kind import Finding
from coordinator.health.kinds import KINDS
from coordinator.rehearsal.world import World
from protocol.drive import StopLevel
from protocol.states import JointState
from protocol.status import Status
from simulator.physics.heat import OPEN_CODE, SHORTED_CODE, sensor_code
from tests.as_json import as_json
from tests.coordinator.core.kit import (
    EVEN,
    S,
    all_up,
    codes,
    describe,
    finish,
    home,
    homed_world,
    link,
    moving,
    play,
    refusal,
    report_of,
    run_of,
    small_arm,
    unit,
    until,
    until_phase,
    world_up,
)  # fmt: skip


def warnings(world: World) -> list[dict[str, Any]]:
    """What stands."""
    found: list[dict[str, Any]] = as_json(arm_snapshot(world.core, world.now))["warnings"]
    return found


def standing(world: World) -> list[tuple[str, str]]:
    """Joint and code of what stands, oldest first."""
    return [(one["joint"], one["code"]) for one in warnings(world)]


def shown(world: World, name: str) -> dict[str, Any]:
    """One joint of the snapshot."""
    joints: list[dict[str, Any]] = as_json(arm_snapshot(world.core, world.now))["joints"]
    return next(joint for joint in joints if joint["name"] == name)


def test_an_arm_that_is_well_has_no_warnings() -> None:
    world = homed_world("home")
    play(world)
    finish(world)
    assert warnings(world) == []
    assert shown(world, "tip")["plausible"] is True


def test_a_joint_that_was_never_heard_has_no_reading_to_believe() -> None:
    world = world_up("none")
    world.cut("tip", 60 * S)
    link(world, "tip").begin_session(world.now)
    assert shown(world, "tip")["plausible"] is None


def test_a_warning_is_told_when_it_begins_and_when_it_ends() -> None:
    world = homed_world("none")
    unit(world, "tip").supply_v = 19.0
    until(world, lambda: standing(world) == [("tip", "supply-low")])
    (one,) = warnings(world)
    assert one["message"] == (
        "tip had 19.0 V when this began, below its warning at 20 V; below 18 V it stops"
    )
    assert one["level"] == "attention"
    assert one["advice"].startswith("measure the supply")
    world.run_for(60 * S)
    unit(world, "tip").supply_v = 24.0
    until(world, lambda: not standing(world))
    assert [code for code in codes(world) if "supply" in code] == ["supply-low", "supply-low-over"]
    (over,) = [note for note in world.notes if note.code == "supply-low-over"]
    assert over.level == "info"
    assert over.message.startswith("tip has enough supply again, after 7")


def test_a_motor_that_loses_its_supply_is_told_apart_from_a_joint_that_is_dead() -> None:
    world = homed_world("none")
    unit(world, "tip").supply_cut = True
    until(world, lambda: standing(world) == [("tip", "motor-supply-lost")])
    with pytest.raises(ev.Refused, match=r"tip has no motor supply \(0.0 V\) while its logic"):
        play(world)
    unit(world, "tip").supply_cut = False
    until(world, lambda: not standing(world))
    world.kill_joint("tip")
    until(world, lambda: standing(world) == [("tip", "joint-offline")])


def test_a_joint_that_is_heard_again_was_away_since_its_last_word() -> None:
    world = homed_world("none")
    world.cut("tip", 4 * S)
    until(world, lambda: standing(world) == [("tip", "joint-offline")])
    until(world, lambda: not standing(world))
    (over,) = [note for note in world.notes if note.code == "joint-offline-over"]
    assert over.message == "tip is heard again, after 4 s"


def test_a_warning_is_seen_once_and_stays_until_it_ends() -> None:
    world = homed_world("none")
    unit(world, "tip").supply_v = 19.0
    until(world, lambda: bool(warnings(world)))
    for _ in range(2):
        seen = world.core.watch.acknowledge(1, world.now)
        assert seen is not None
        assert seen.acknowledged
    world.run_for(1 * S)
    assert [one["acknowledged"] for one in warnings(world)] == [True]
    assert codes(world).count("warning-acknowledged") == 1
    assert world.core.watch.acknowledge(2, world.now) is None


def test_an_open_sensor_in_mid_move_is_shown_and_stops_nothing() -> None:
    world = homed_world(EVEN)
    moving(world)
    unit(world, "tip").sensor_code = OPEN_CODE
    until(world, lambda: ("tip", "temperature-implausible") in standing(world))
    assert run_of(world).phase is Phase.MOVING, describe(world)
    told = shown(world, "tip")
    assert (told["plausible"], told["temperature_sensor"]) == (False, "open")
    assert told["temperature_c"] is None
    finish(world)
    assert report_of(world).outcome == "finished"
    assert "joint-warm" not in codes(world)


def known(world: World) -> tuple[Any, Any, Any]:
    """What is told of a joint's sensor."""
    told = shown(world, "tip")
    return told["temperature_sensor"], told["plausible"], told["temperature_c"]


@pytest.mark.parametrize("again", ["coordinator", "joint", "session"])
def test_a_sensor_is_not_known_before_it_was_read_in_this_session(again: str) -> None:
    world = homed_world("none")
    assert known(world)[:2] == ("sound", True)
    if again == "joint":
        world.kill_joint("tip")
        world.run_for(2 * S)
        world.restart_joint("tip")
        until(world, lambda: link(world, "tip").status is None)
    elif again == "session":
        world.core.handle(ev.HostSlept(30 * S, 7), world.now)
    else:
        world.kill_coordinator()
        world.start_coordinator()
    assert known(world) == (None, None, None)
    until(world, lambda: all_up(world))
    world.run_for(2 * S)
    assert known(world)[:2] == ("sound", True)


def test_a_temperature_is_not_shown_before_it_was_looked_at() -> None:
    core = Coordinator(small_arm(), bytes(8), 1)
    tip, status = core.links[2], Status(boot=1, sequence=1, state=JointState.UNHOMED)
    told = []
    for now, centi_c in ((0, None), (50_000, 27_990), (300_000, 27_990), (80 * S, 3_000)):
        tip.replied(replace(status, temperature_centi_c=centi_c), now)
        core.watch.observe(tip, now)
        found = joint_snapshot(core, tip, now)
        told.append((found.temperature_sensor, found.plausible, found.temperature_c))
    assert told == [
        (None, None, None),
        (None, None, None),  # within 0.2 s of the last look
        ("shorted", False, None),
        ("sound", True, 30.0),
    ]


@pytest.mark.parametrize("impossible", [27_990, -5_000, 4_500])
def test_an_impossible_reading_between_two_looks_is_no_temperature(impossible: int) -> None:
    core = Coordinator(small_arm(), bytes(8), 1)
    tip, status = core.links[2], Status(boot=1, sequence=1, state=JointState.UNHOMED)
    told = []
    for now, centi_c in ((0, 3_000), (50_000, impossible), (100_000, 3_010), (S, 3_020)):
        tip.replied(replace(status, temperature_centi_c=centi_c), now)
        core.watch.observe(tip, now)
        told.append(joint_snapshot(core, tip, now + 60 * S).temperature_c)  # told late all the same
    assert told == [30.0, None, 30.1, 30.2]


@pytest.mark.parametrize(
    ("code", "after_s", "state"),
    [(SHORTED_CODE, 3, "shorted"), (sensor_code(50.0), 3, "implausible")],
)
def test_from_the_pin_to_the_snapshot_a_broken_sensor_is_a_state_and_no_temperature(
    code: int, after_s: int, state: str
) -> None:
    world = homed_world("none")
    assert shown(world, "tip")["temperature_sensor"] == "sound"
    unit(world, "tip").sensor_code = code
    world.run_for(after_s * S)
    told = shown(world, "tip")
    assert (told["temperature_sensor"], told["temperature_c"]) == (state, None)


def test_a_frozen_sensor_is_told_of_once_the_load_changed() -> None:
    world = homed_world("none")
    tip = unit(world, "tip")
    tip.sensor_code = sensor_code(tip.temperature_c(world.now))
    world.run_for(60 * S)
    world.command(ev.Stop(StopLevel.RELEASE))
    world.run_for(620 * S)
    told = shown(world, "tip")
    assert (told["temperature_sensor"], told["temperature_c"]) == ("frozen", None)
    assert ("tip", "temperature-implausible") in standing(world)


def test_the_snapshot_tells_what_was_learnt_of_a_joint_s_heat() -> None:
    world = homed_world("none")
    heat = shown(world, "tip")["heat"]
    assert heat["why_not"] == "its temperature must be watched for three minutes first"
    world.run_for(300 * S)
    heat = shown(world, "tip")["heat"]
    true_c = unit(world, "tip").temperature_c(world.now + 600 * S)
    assert heat["ten_minutes_c"]["low"] <= true_c <= heat["ten_minutes_c"]["high"]
    assert heat["limit"]["likely_s"] is None


def test_nothing_starts_with_a_sensor_that_cannot_be_believed() -> None:
    world = homed_world(EVEN)
    unit(world, "tip").sensor_code = OPEN_CODE
    world.run_for(2 * S)
    with pytest.raises(ev.Refused) as refused:
        play(world)
    assert refused.value.code == "temperature-implausible"
    assert refused.value.message == (
        "tip: its temperature sensor reads -50.0 °C, below the -40 °C that it can measure, so it "
        "is open or shorted to ground; how warm it is is not known"
    )
    # It may be brought to where its sensor can be reached, step by step.
    world.command(ev.Jog({"tip": 5.0}))
    world.run_for(100_000)
    world.command(ev.Jog({"tip": 0.0}))
    world.run_for(2 * S)
    home(world)
    unit(world, "tip").sensor_code = None
    world.run_for(13 * S)
    play(world)
    finish(world)


def test_a_held_run_does_not_go_on_with_a_sensor_that_cannot_be_believed() -> None:
    world = homed_world(EVEN)
    moving(world)
    unit(world, "tip").sensor_code = OPEN_CODE
    world.command(ev.Hold())
    until_phase(world, Phase.HELD)
    world.run_for(2 * S)
    assert refusal(world, ev.Resume()).code == "temperature-implausible"
    unit(world, "tip").sensor_code = None
    world.run_for(13 * S)
    world.command(ev.Resume())
    finish(world)


def test_a_joint_over_its_limit_stops_the_whole_arm_and_is_a_danger_until_it_has_cooled() -> None:
    world = homed_world(EVEN)
    moving(world)
    unit(world, "tip").warmer_c = 45.0
    until_phase(world, Phase.ENDED)
    assert report_of(world).outcome == "faulted"
    assert report_of(world).message == "tip has a fault: over-temperature"
    until(world, lambda: ("tip", "joint-hot") in standing(world))
    assert next(one for one in warnings(world) if one["code"] == "joint-hot")["level"] == "danger"
    unit(world, "tip").warmer_c = 0.0
    until(world, lambda: not standing(world))


def test_a_clock_that_jumps_is_a_line_of_the_journal_as_nobody_need_act() -> None:
    world = homed_world("none")
    unit(world, "tip").step_clock(world.now, 5e5)
    until(world, lambda: "clock-doubted" in codes(world))
    with pytest.raises(ev.Refused):
        play(world)
    until(world, lambda: "clock-doubted-over" in codes(world))
    found = [code for code in codes(world) if code.startswith("clock")]
    assert found == ["clock-doubted", "clock-doubted-over"]


def test_a_clock_that_stays_unlocked_is_an_alarm_and_its_end_is_one_line() -> None:
    world = homed_world("none")
    tip = unit(world, "tip")

    def jumps() -> None:
        tip.step_clock(world.now, 5e5)
        world.run_for(2 * S)

    for _ in range(35):
        jumps()
    assert standing(world) == [("tip", "clock-unlocked")]
    assert warnings(world)[0]["advice"].startswith("switch the joint off and on")
    until(world, lambda: not standing(world), 600 * S)
    ends = [note.code for note in world.notes if note.code.endswith("-over") and not note.detail]
    assert ends == ["clock-unlocked-over"]


def test_the_warnings_of_a_joint_that_falls_silent_stand_as_they_were() -> None:
    world = homed_world("none")
    unit(world, "tip").supply_v = 19.0
    until(world, lambda: bool(warnings(world)))
    world.cut("tip", 30 * S)
    unit(world, "tip").supply_v = 24.0
    world.run_for(25 * S)
    assert standing(world) == [("tip", "supply-low"), ("tip", "joint-offline")]
    until(world, lambda: not standing(world), 60 * S)


def test_a_joint_that_was_heard_and_is_silent_is_a_warning_until_it_is_heard() -> None:
    world = homed_world("none")
    world.run_for(10 * S)
    assert standing(world) == []
    world.cut("tip", 2 * S)
    world.run_for(2 * S)
    assert standing(world) == []  # a passing outage is none
    world.run_for(5 * S)
    world.cut("tip", 6 * S)
    world.run_for(5 * S)
    (one,) = warnings(world)
    assert (one["joint"], one["code"], one["level"]) == ("tip", "joint-offline", "danger")
    assert one["message"] == "tip is offline: it answers no more"
    assert "keep out of the arm's reach" in one["advice"]
    until(world, lambda: not standing(world), 10 * S)
    assert "joint-offline-over" in codes(world)


def test_joints_that_were_never_heard_are_no_warning() -> None:
    absent = Coordinator(small_arm(), bytes(16), 7)
    for now in range(0, 20 * S, S // 5):
        absent.poll(now)
    assert absent.watch.warnings.standing == []


def shelved(world: World) -> list[tuple[str, str, bool]]:
    """Joint and code of what is shelved, and whether it is so."""
    told = as_json(arm_snapshot(world.core, world.now))["alarms"]["shelved"]
    return [(one["joint"], one["code"], one["stands"]) for one in told]


def test_a_shelf_hides_the_sign_and_never_what_stops_the_arm() -> None:
    world = homed_world("none")
    moving(world)
    unit(world, "tip").supply_v = 19.0
    until(world, lambda: standing(world) == [("tip", "supply-low")])
    watch = world.core.watch
    found = watch.require_shelvable(1)
    assert found is not None
    watch.shelve(*found, "the bench", 300 * S, world.now)
    assert [(one["state"], one["acknowledged"]) for one in warnings(world)] == [("shelved", False)]
    assert shelved(world) == [("tip", "supply-low", True)]
    unit(world, "tip").supply_v = 17.0
    until_phase(world, Phase.ENDED)
    assert report_of(world).outcome == "faulted"
    assert shelved(world) == [("tip", "supply-low", True)]
    unit(world, "tip").supply_v = 24.0
    until(world, lambda: not standing(world))
    assert shelved(world) == [("tip", "supply-low", False)]
    world.run_for(300 * S)
    assert shelved(world) == []
    told = [note.message for note in world.notes if note.code == "warning-unshelved"]
    assert told == [
        "the bench's time is over for supply-low of tip: taken off the shelf: it is not so now"
    ]


def test_what_is_of_high_priority_cannot_be_shelved() -> None:
    world = homed_world("none")
    unit(world, "tip").supply_cut = True
    until(world, lambda: standing(world) == [("tip", "motor-supply-lost")])
    with pytest.raises(ev.Refused, match="never shelved") as refused:
        world.core.watch.require_shelvable(1)
    assert refused.value.code == "not-shelvable"
    assert world.core.watch.require_shelvable(2) is None


def test_it_comes_back_unacknowledged_and_a_sleep_of_the_host_brings_it_back_sooner() -> None:
    world = homed_world("none")
    unit(world, "tip").supply_v = 19.0
    until(world, lambda: bool(warnings(world)))
    world.core.watch.acknowledge(1, world.now)
    found = world.core.watch.require_shelvable(1)
    assert found is not None
    world.core.watch.shelve(*found, "the bench", 3600 * S, world.now)
    world.core.handle(ev.HostSlept(3590 * S, 7), world.now)
    until(world, lambda: shelved(world) == [], 30 * S)
    assert [one["state"] for one in warnings(world)] == ["unacknowledged"]
    told = [note for note in world.notes if note.code == "warning-unshelved"]
    assert [(note.level, note.message[-11:]) for note in told] == [("attention", "is so still")]


def test_what_passes_unseen_stays_until_somebody_acknowledges_it() -> None:
    world = homed_world("none")
    unit(world, "tip").supply_v = 19.0
    until(world, lambda: bool(warnings(world)))
    unit(world, "tip").supply_v = 24.0
    until(world, lambda: not standing(world))
    (one,) = as_json(arm_snapshot(world.core, world.now))["alarms"]["returned"]
    assert (one["code"], one["state"]) == ("supply-low", "returned")
    seen = world.core.watch.acknowledge(one["id"], world.now)
    assert seen is not None
    assert seen.state == "normal"
    assert as_json(arm_snapshot(world.core, world.now))["alarms"]["returned"] == []


def test_many_at_once_are_told_as_a_flood_with_what_came_first() -> None:
    world = homed_world("none")
    watch, keeper = world.core.watch, world.core.watch.warnings
    for k, joint in enumerate(world.core.links):
        for kind in [kind for kind in KINDS if kind.priority is not Priority.JOURNAL][:4]:
            keeper.observe(joint.name, [Finding(kind, True, "m")], world.now - 10 * S)
            keeper.observe(joint.name, [Finding(kind, True, "m")], world.now + k)
    assert len(keeper.standing) >= 10
    watch.step(world.now)
    told = as_json(arm_snapshot(world.core, world.now))
    assert told["alarms"]["flood"]["count"] == len(told["warnings"])
    assert sum(told["alarms"]["flood"]["by_origin"].values()) == len(told["warnings"])
    assert {one["episode"] for one in told["warnings"]} == {told["warnings"][0]["id"]}
    (note,) = [note for note in world.core.outbox.notes if note.code == "alarm-flood"]
    assert note.level == "attention"
    assert note.message.endswith("look first at what came first")
