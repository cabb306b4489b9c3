"""Stops of every level in every phase, latches, faults: nothing moves on without a command."""

from collections.abc import Callable

import pytest

from coordinator.core import events as ev
from coordinator.core.homing import HomingState
from coordinator.core.run import Phase
from coordinator.core.run.report_snapshot import report_snapshot
from coordinator.rehearsal.world import World
from protocol.drive import StopLevel
from protocol.states import JointState
from protocol.status import Fault
from tests.as_json import as_json
from tests.coordinator.core.grip import waiting_world
from tests.coordinator.core.kit import (
    EVEN,
    LONG,
    S,
    at_rest,
    codes,
    finish,
    home,
    homed_world,
    link,
    links,
    moving,
    play,
    positions,
    refusal,
    report_of,
    run_of,
    state,
    states,
    unit,
    until,
    until_phase,
    wiretap,
    world_up,
)  # fmt: skip

PARTED = "G90 G94\nG0 A10\nM0\nG0 A0\nM2\n"
LEVELS = [StopLevel.STOP, StopLevel.STOP_AND_RELEASE, StopLevel.RELEASE]


def in_phase(phase: Phase) -> World:
    """A world whose run is in a phase."""
    if phase is Phase.WAITING:
        return waiting_world(EVEN)
    world = homed_world(EVEN)
    play(world, PARTED if phase in (Phase.PAUSED, Phase.DISCARDING) else LONG)
    if phase in (Phase.HOLDING, Phase.HELD):
        until_phase(world, Phase.MOVING)
        world.run_for(1 * S)
        world.command(ev.Hold())
    until_phase(world, phase)
    if phase is Phase.MOVING:
        world.run_for(1 * S)
    return world


def latched(world: World) -> bool:
    """Whether every joint has confirmed the stop."""
    return not any(one.orders.stop_wanted for one in links(world))


@pytest.mark.parametrize("level", LEVELS)
@pytest.mark.parametrize("phase", [phase for phase in Phase if phase is not Phase.ENDED])
def test_a_stop_in_any_phase_ends_the_run_and_latches_until_a_new_command(
    phase: Phase, level: StopLevel
) -> None:
    world = in_phase(phase)
    world.command(ev.Stop(level))
    assert run_of(world).phase is Phase.ENDED
    assert report_of(world).outcome == "stopped"
    until(world, lambda: latched(world) and at_rest(world), 3 * S)
    world.run_for(5 * S)
    # Still latched, long after drives ceased to carry the stop.
    assert [unit.joint.status(0.0).stop for unit in world.units] == [level] * 3
    released = level is not StopLevel.STOP
    assert [unit.joint.energised for unit in world.units] == [not released] * 3
    assert states(world) == [JointState.UNHOMED if released else JointState.READY] * 3
    place = positions(world)
    world.run_for(5 * S)
    assert positions(world) == place
    if released:
        home(world)
    play(world)
    finish(world)


@pytest.mark.parametrize("level", LEVELS)
@pytest.mark.parametrize("profile", ["home", "busy"])
def test_a_play_right_after_a_stop_succeeds_over_a_poor_link(
    profile: str, level: StopLevel
) -> None:
    world = homed_world(profile, seed=9)
    for _ in range(3):
        moving(world)
        world.command(ev.Stop(level))
        until(world, lambda: latched(world) and at_rest(world))
        until(world, lambda: all(one.at_rest for one in links(world)))
        if level is not StopLevel.STOP:
            home(world)
        play(world)
        finish(world)


def test_a_stop_brakes_each_joint_at_its_own_limit_within_its_braking_time() -> None:
    world = homed_world("none")
    moving(world)
    world.command(ev.Stop())
    # 60 °/s at 120 °/s² (facts.md, Motion): v/a = 0.5 s at most.
    world.run_for(550_000)
    assert at_rest(world)


def test_a_stop_is_carried_until_every_joint_has_latched_it() -> None:
    world = homed_world("none")
    moving(world)
    world.cut("tip", 1 * S)
    world.command(ev.Stop())
    world.run_for(500_000)
    assert [bool(one.orders.stop_wanted) for one in links(world)] == [False, False, True]
    assert as_json(report_snapshot(report_of(world)))["stop_unconfirmed"] == ["tip"]
    parts = run_of(world).play.parts
    assert refusal(world, ev.Play("again", "", parts)).code == "stopping"
    until(world, lambda: latched(world) and at_rest(world), 3 * S)
    assert state(world, "tip") is JointState.READY
    until(world, lambda: not report_of(world).stop_unconfirmed, 3 * S)
    world.cut("tip", 1 * S)
    world.command(ev.Stop())
    world.run_for(500_000)
    assert report_of(world).stop_unconfirmed == [], "a stop of no run"


def test_a_stop_that_is_late_is_first_in_the_report_and_in_the_answer_to_a_hold() -> None:
    world = homed_world("none")
    moving(world)
    world.cut("tip", 3 * S)
    world.command(ev.Stop())
    world.run_for(300_000)
    assert report_snapshot(report_of(world)).message == "the operator asked", "it is not late yet"
    world.run_for(1 * S)
    told = "the stop has not reached tip; the operator asked"
    assert report_snapshot(report_of(world)).message == told
    held = refusal(world, ev.Hold())
    assert held.code == "no-run"
    assert held.message.startswith("tip has not confirmed the stop and may still move; no program")
    until(world, lambda: latched(world) and at_rest(world), 30 * S)
    world.run_for(1 * S)
    assert report_snapshot(report_of(world)).message == "the operator asked"
    assert "confirmed" not in refusal(world, ev.Hold()).message


def test_a_joint_that_was_away_at_the_stop_gets_it_on_its_return() -> None:
    world = homed_world("none")
    world.kill_joint("tip")
    until(world, lambda: not link(world, "tip").up)
    world.command(ev.Stop(StopLevel.RELEASE))
    world.run_for(3 * S)
    world.restart_joint("tip")
    until(world, lambda: link(world, "tip").up and latched(world))
    assert unit(world, "tip").joint.status(0.0).stop is StopLevel.RELEASE


def test_a_second_stop_is_not_taken_for_confirmed_by_the_latch_of_the_first() -> None:
    world = homed_world(EVEN)
    world.command(ev.Stop(StopLevel.STOP))
    until(world, lambda: latched(world))
    play(world)
    # The clear is on its way; what is heard until it comes still shows the first latch.
    world.cut("tip", 60_000, ["forward"])
    world.command(ev.Stop(StopLevel.STOP))
    world.run_for(15_000)
    assert link(world, "tip").orders.stop_wanted
    until(world, lambda: latched(world))
    world.run_for(2 * S)
    assert [unit.joint.status(0.0).stop for unit in world.units] == [StopLevel.STOP] * 3


def test_a_stop_outlives_a_clear_that_is_still_on_its_way() -> None:
    world = homed_world(EVEN)
    world.command(ev.Stop(StopLevel.STOP))
    until(world, lambda: latched(world))
    # The clear of this play is repeated by the stream only 200 ms later.
    world.cut("tip", 30_000, ["forward"])
    play(world)
    world.run_for(40_000)
    world.command(ev.Stop(StopLevel.STOP))
    world.run_for(3 * S)
    assert [unit.joint.status(0.0).stop for unit in world.units] == [StopLevel.STOP] * 3


def test_a_higher_stop_replaces_a_lower_one_and_a_lower_one_never_a_higher() -> None:
    world = homed_world("none")
    moving(world)
    world.command(ev.Stop(StopLevel.STOP))
    world.command(ev.Stop(StopLevel.RELEASE))
    world.command(ev.Stop(StopLevel.STOP))
    until(world, lambda: latched(world))
    assert not any(unit.joint.energised for unit in world.units)


@pytest.mark.parametrize("sleeps", [False, True])
def test_a_lower_stop_takes_nothing_from_a_higher_one_that_a_joint_has_not_heard_of(
    *, sleeps: bool
) -> None:
    """Also where the session in which they were asked for ends before it hears of them."""
    world = homed_world("none")
    moving(world)
    world.cut("tip", 2 * S)
    world.command(ev.Stop(StopLevel.RELEASE))
    world.run_for(100_000)
    world.command(ev.Stop(StopLevel.STOP))
    if sleeps:
        world.laptop.sleep(3 * S)
        world.run_for(3 * S + 1_000)
    until(world, lambda: all(one.up for one in links(world)), 30 * S)
    until(world, lambda: latched(world))
    assert [unit.joint.status(0.0).stop for unit in world.units] == [StopLevel.RELEASE] * 3
    assert not any(unit.joint.energised for unit in world.units)


@pytest.mark.parametrize("level", LEVELS)
def test_no_drive_asks_for_drivers_beside_a_stop(level: StopLevel) -> None:
    world = homed_world(EVEN)
    moving(world)
    wire = wiretap(world)
    world.cut("tip", 1 * S)
    world.command(ev.Stop(level))
    until(world, lambda: latched(world))
    stops = [sent.drive for _, sent in wire.drives if sent.drive.stop]
    assert len(stops) > 20
    assert not any(drive.energise for drive in stops)


def test_stop_level_none_is_refused() -> None:
    world = homed_world("none")
    assert refusal(world, ev.Stop(StopLevel.NONE)).code == "stop-level"


def test_a_stop_ends_homing_and_nothing_goes_on() -> None:
    world = world_up("none")
    world.command(ev.Home())
    world.run_for(200_000)
    world.command(ev.Stop())
    homing = world.core.homing
    assert homing is not None
    assert homing.state is HomingState.FAILED
    world.run_for(1 * S)
    assert at_rest(world)
    place = positions(world)
    world.run_for(5 * S)
    assert positions(world) == place
    home(world)


@pytest.mark.parametrize("fault", [Fault.DRIVER, Fault.OVER_TEMPERATURE, Fault.STEPS_LOST])
@pytest.mark.parametrize("phase", [Phase.STARTING, Phase.MOVING, Phase.HOLDING, Phase.HELD])
def test_a_fault_of_one_joint_stops_all_and_the_run_is_faulted(phase: Phase, fault: Fault) -> None:
    world = in_phase(phase)
    unit(world, "middle").fault(fault, world.now)
    until_phase(world, Phase.ENDED)
    report = report_of(world)
    assert report.outcome == "faulted"
    assert report.message == f"middle has a fault: {(fault.name or '').lower().replace('_', '-')}"
    until(world, lambda: latched(world) and at_rest(world), 3 * S)
    place = positions(world)
    world.run_for(5 * S)
    assert positions(world) == place
    assert state(world, "middle") is JointState.FAULTED
    code = refusal(world, ev.Play("again", "", run_of(world).play.parts)).code
    assert code in ("faulted", "not-homed")
    home(world)
    play(world)
    finish(world)


@pytest.mark.parametrize("phase", [Phase.LOADING, Phase.PREPARING])
def test_a_fault_before_the_start_refuses_the_run_by_name(phase: Phase) -> None:
    world = in_phase(phase)
    unit(world, "middle").fault(Fault.DRIVER, world.now)
    until_phase(world, Phase.ENDED)
    assert report_of(world).outcome in ("refused", "faulted")
    assert "middle" in report_of(world).message


def test_a_fault_whose_cause_persists_is_told_with_the_joints_own_sentence() -> None:
    world = homed_world("none")
    tip = unit(world, "tip")
    tip.by_value(world.now, lambda joint, now: joint.sense(9_000, 24_000, now))
    until(world, lambda: bool(link(world, "tip").status and link(world, "tip").status.faults))  # type: ignore[union-attr]
    tip.by_value(world.now, lambda joint, now: joint.sense(9_000, 24_000, now))
    world.command(ev.Home(("tip",)))
    until(world, lambda: "clear-refused" in codes(world), 3 * S)
    note = next(note for note in world.notes if note.code == "clear-refused")
    assert "90.00 °C" in note.message


def test_a_joint_that_boots_keeps_its_drivers_off_until_a_new_command() -> None:
    world = homed_world("none")
    world.kill_joint("tip")
    world.restart_joint("tip")
    until(world, lambda: link(world, "tip").up and link(world, "tip").connection.configured)
    world.run_for(3 * S)
    assert not unit(world, "tip").joint.energised
    home(world, "tip")
    assert unit(world, "tip").joint.energised


def home_tip(world: World) -> None:
    """Home one joint."""
    home(world, "tip")


def jog_tip(world: World) -> None:
    """Jog one joint, for as long as a command that is not repeated lasts."""
    world.command(ev.Jog({"tip": 1.0}))
    world.run_for(2 * S)


@pytest.mark.parametrize("act", [home_tip, jog_tip])
def test_what_concerns_one_joint_switches_no_other_joints_drivers_on(
    act: Callable[[World], None],
) -> None:
    world = world_up("none")
    act(world)
    assert [unit.joint.energised for unit in world.units] == [False, False, True]


@pytest.mark.parametrize("act", [home_tip, jog_tip])
def test_what_concerns_one_joint_lifts_no_other_joints_stop_or_fault(
    act: Callable[[World], None],
) -> None:
    world = homed_world("none")
    world.command(ev.Stop())
    until(world, lambda: latched(world))
    unit(world, "middle").fault(Fault.DRIVER, world.now)
    world.run_for(1 * S)
    act(world)
    assert [unit.joint.status(0.0).stop for unit in world.units] == [
        StopLevel.STOP,
        StopLevel.STOP,
        StopLevel.NONE,
    ]
    assert unit(world, "middle").joint.status(0.0).faults == Fault.DRIVER
    home(world)
    play(world)
    finish(world)


def test_nothing_else_moves_while_a_joint_whose_link_is_down_may_not_have_stopped() -> None:
    world = homed_world(EVEN)
    moving(world)
    world.cut("tip", 20 * S)
    world.break_stream("tip")
    world.command(ev.Stop())
    while not at_rest(world):
        assert not link(world, "tip").up
        assert refusal(world, ev.Home(("base",))).code == "stopping"
        assert refusal(world, ev.Jog({"base": 1.0})).code == "stopping"
        world.run_for(100_000)
    # Whatever it heard, by then it has held by its own rules: the others are of use again.
    world.run_for(5 * S)
    assert link(world, "tip").orders.stop_wanted
    home(world, "base")
