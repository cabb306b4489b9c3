"""A joint that loses its clock, its power or its link in the middle of a run."""

from dataclasses import replace

import pytest

from coordinator.core import events as ev
from coordinator.core.condition import condition
from coordinator.core.run import Phase
from coordinator.rehearsal.world import World
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
    moving,
    play,
    play_to,
    refusal,
    report_of,
    run_of,
    small_arm,
    state,
    truth,
    unit,
    units,
    until,
    until_phase,
)


def test_a_joint_that_is_not_heard_is_taken_for_at_rest_only_once_its_ramp_is_over() -> None:
    arm = small_arm()
    joints = tuple(replace(one, acceleration_deg_s2=15.0, jerk_deg_s3=150.0) for one in arm.joints)
    slow = replace(arm, joints=joints)
    world = World(slow, units(slow, 1), EVEN, 1)
    until(world, lambda: all_up(world))
    home(world)
    moving(world, after_us=4 * S, text="G90 G94\nG1 A80 B80 C80 F3000\nM2\n")
    world.cut("tip", 60 * S)
    world.command(ev.Hold())
    until(world, lambda: unit(world, "tip").joint.state is JointState.RAMPING)
    told = condition(world.core, world.now)
    while not at_rest(world):
        assert run_of(world).phase is Phase.HOLDING
        world.run_for(50_000)
    assert world.core.ramp.duration_us > 3 * S
    told = condition(world.core, world.now)
    assert told.rests_by_us is not None
    until_phase(world, Phase.HELD)


@pytest.mark.parametrize("by_us", [20_000.0, -20_000.0, 2_000_000.0])
def test_a_joint_whose_clock_is_stepped_makes_the_arm_hold_and_a_resume_goes_on(
    by_us: float,
) -> None:
    world = homed_world("quiet")
    moving(world)
    unit(world, "tip").oscillator.step(float(world.now), by_us)
    until_phase(world, Phase.HELD)
    assert "clock-doubted" in codes(world)
    if abs(by_us) < 100_000:
        # It is held at once, not only when the joint finds its new map too far off.
        assert "tip: the clock is not trusted" in report_of(world).holds[0].cause
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
    play_to(world, phase)
    if phase is Phase.MOVING:
        world.run_for(1 * S)
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
    assert report_of(world).holds[0].apart_us == 0


def test_a_boot_while_moving_leaves_the_lost_joints_place_out_of_the_hold() -> None:
    world = homed_world(EVEN)
    moving(world)
    world.kill_joint("tip")
    world.restart_joint("tip")
    until_phase(world, Phase.ENDED)
    assert report_of(world).holds[0].path_us["tip"] is None
    assert report_of(world).holds[0].apart_us <= 400_000


def test_a_joint_that_is_gone_for_good_leaves_the_run_held_until_it_is_stopped() -> None:
    world = homed_world("quiet")
    moving(world)
    world.kill_joint("tip")
    until_phase(world, Phase.HELD)
    world.run_for(20 * S)
    assert refusal(world, ev.Resume()).code == "joint-offline"
    world.command(ev.Stop())
    until_phase(world, Phase.ENDED)
    assert report_of(world).outcome == "stopped"
