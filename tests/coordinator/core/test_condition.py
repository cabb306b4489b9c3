"""The arm's condition in one word, from real situations; never calmer than the truth."""

import pytest

from coordinator.core import events as ev
from coordinator.core.condition import Condition, condition
from coordinator.core.machine import Coordinator
from coordinator.core.run import Phase
from coordinator.core.snapshot.arm import arm_snapshot
from coordinator.rehearsal.world import World
from protocol.drive import StopLevel
from protocol.light import REST_WORDS, ConditionWord
from protocol.states import JointState
from protocol.status import Fault
from tests.coordinator.core.kit import (
    EVEN,
    LONG,
    NAMES,
    S,
    all_up,
    at_rest,
    finish,
    homed_world,
    link,
    moving,
    play,
    run_of,
    small_arm,
    speeds,
    state,
    unit,
    until,
    until_phase,
    world_up,
)


def now(world: World) -> Condition:
    return condition(world.core, world.laptop.now)


def test_an_arm_that_was_just_switched_on_has_its_motors_off() -> None:
    assert now(world_up("none")) == Condition(ConditionWord.MOTORS_OFF)


def test_a_motor_that_lost_its_supply_is_off_whatever_its_joint_says() -> None:
    world = homed_world("none")
    world.run_for(1 * S)
    assert now(world).word is ConditionWord.AT_REST
    unit(world, "middle").supply_cut = True
    world.run_for(3 * S)
    status = link(world, "middle").status
    assert status is not None
    assert status.energised
    cause = "middle has no motor supply (0.0 V) while its logic answers"
    assert now(world) == Condition(ConditionWord.MOTORS_OFF, cause, "middle")


def test_an_arm_that_is_homing_says_which_joint() -> None:
    world = world_up("none")
    world.command(ev.Home())
    assert now(world) == Condition(ConditionWord.HOMING, "tip", "tip")
    until(world, lambda: state(world, "middle") is JointState.HOMING)
    until(world, lambda: now(world) == Condition(ConditionWord.HOMING, "middle", "middle"), 1 * S)


def test_an_arm_that_was_homed_rests_and_names_what_is_not_homed() -> None:
    world = world_up("none")
    world.command(ev.Home(("tip",)))
    until(world, lambda: "homed" in [note.code for note in world.notes])
    world.run_for(1 * S)
    # The others were not asked for: their motors are off.
    assert now(world) == Condition(ConditionWord.MOTORS_OFF, "base and middle", "base")
    world = homed_world("none")
    world.run_for(1 * S)
    assert now(world) == Condition(ConditionWord.AT_REST)


def test_a_start_says_when_and_moving_begins_with_it_and_no_sooner() -> None:
    world = homed_world(EVEN)
    play(world, LONG)
    assert now(world) == Condition(ConditionWord.STARTS, "test")
    until(world, lambda: now(world).at_us is not None)
    set_at = now(world)
    assert set_at.word is ConditionWord.STARTS
    assert set_at.at_us is not None
    assert set_at.at_us > world.laptop.now
    until_phase(world, Phase.MOVING)  # all have confirmed, and nothing moves yet
    assert max(speeds(world)) == 0.0
    assert now(world).word is ConditionWord.STARTS
    until(world, lambda: world.laptop.now >= (set_at.at_us or 0))
    assert now(world) == Condition(ConditionWord.MOVING, "test")
    finish(world)
    world.run_for(1 * S)
    assert now(world) == Condition(ConditionWord.AT_REST)


def test_a_hold_is_moving_until_all_rest_and_then_held_with_its_cause() -> None:
    world = homed_world("none")
    moving(world)
    world.command(ev.Hold())
    assert now(world) == Condition(ConditionWord.MOVING, "coming to rest: the operator asked")
    until(world, lambda: now(world).word is not ConditionWord.MOVING)
    assert now(world) == Condition(ConditionWord.HELD, "the operator asked")
    assert at_rest(world)


def test_a_resume_moves_while_joints_catch_up_and_says_who() -> None:
    world = homed_world(EVEN)
    moving(world)
    world.cut("tip", 3 * S)
    until_phase(world, Phase.HELD)
    until(world, lambda: all_up(world))
    world.command(ev.Resume())
    until(world, lambda: JointState.ADVANCING in [state(world, name) for name in NAMES])
    world.run_for(100_000)
    told = now(world)
    assert told.word is ConditionWord.MOVING
    assert "comes up to where the others hold" in told.cause


def test_a_pause_says_of_which_program_which_line_waits() -> None:
    world = homed_world("none")
    play(world, "G90 G94\nG0 A5\nM0\nG0 A0\nM2\n")
    until_phase(world, Phase.PAUSED)
    world.run_for(1 * S)
    told = "test: the pause of line 3 waits for resume"
    assert now(world) == Condition(ConditionWord.PAUSED, told)


@pytest.mark.parametrize("level", list(StopLevel)[1:])
def test_a_stopped_arm_is_not_at_rest_as_if_nothing_had_been(level: StopLevel) -> None:
    world = homed_world("none")
    moving(world)
    world.command(ev.Stop(level))
    assert now(world).word is ConditionWord.MOVING
    assert now(world).unconfirmed == NAMES
    until(world, lambda: now(world).word in REST_WORDS, 5 * S)
    assert at_rest(world)
    word = ConditionWord.STOPPED if level is StopLevel.STOP else ConditionWord.MOTORS_OFF
    assert now(world) == Condition(word, "the operator asked")


def test_a_stop_that_does_not_reach_a_joint_is_told_before_all_else() -> None:
    world = homed_world("none")
    moving(world)
    world.cut("tip", 5 * S)
    world.command(ev.Stop())
    world.run_for(500_000)
    told = now(world)
    assert (told.unconfirmed, told.joint) == (("tip",), "tip")
    assert told.cause == "the stop has not reached tip"
    assert told.word not in REST_WORDS
    world.run_for(2 * S)
    told = now(world)
    assert told.word is ConditionWord.NOT_KNOWN
    assert told.cause == "the stop has not reached tip"
    assert told.rests_by_us is not None
    until(world, lambda: now(world).word is ConditionWord.STOPPED, 20 * S)


def test_a_fault_is_named() -> None:
    world = homed_world("none")
    unit(world, "tip").fault(Fault.DRIVER, world.now)
    world.poll(world.node("tip"))
    world.run_for(1 * S)
    assert now(world) == Condition(ConditionWord.STOPPED, "tip has a fault: driver", "tip")


def test_a_joint_that_is_not_heard_is_not_known_and_by_when_it_rests_by_its_own_rules() -> None:
    world = homed_world("none")
    moving(world)
    world.kill_joint("tip")
    until_phase(world, Phase.HELD, Phase.ENDED)
    told = now(world)
    assert (told.word, told.joint) == (ConditionWord.NOT_KNOWN, "tip")
    assert told.cause.startswith("tip is offline: ")
    assert told.rests_by_us is not None
    assert world.laptop.now < told.rests_by_us < world.laptop.now + 6 * S


def test_a_joint_that_never_was_there_is_not_known_either() -> None:
    absent = Coordinator(small_arm(), bytes(16), 7)
    absent.poll(0)
    told = condition(absent, S)
    assert told.word is ConditionWord.NOT_KNOWN
    assert told.cause == "base, middle and tip are offline"
    assert told.rests_by_us is None


def test_a_jog_moves_from_its_command_to_the_rest_that_the_joint_reports() -> None:
    world = homed_world(EVEN)
    world.command(ev.Jog({"tip": 10.0}))
    assert now(world) == Condition(ConditionWord.MOVING, "tip is jogged", "tip")
    world.run_for(200_000)
    world.command(ev.Jog({"tip": 0.0}))
    while max(speeds(world)) > 0.0:
        assert now(world).word is ConditionWord.MOVING
        world.run_for(5_000)
    until(world, lambda: now(world) == Condition(ConditionWord.AT_REST), 1 * S)


def test_a_jog_of_which_every_answer_was_lost_is_no_rest_when_it_is_over() -> None:
    world = homed_world("none")
    world.cut("tip", 600_000, ["back"])
    world.command(ev.Jog({"tip": 10.0}))
    world.run_for(100_000)
    world.command(ev.Jog({"tip": 0.0}))
    assert link(world, "tip").at_rest  # by a status from before
    told = now(world)
    assert told == Condition(ConditionWord.MOVING, "tip has not confirmed to be at rest", "tip")
    until(world, lambda: now(world) == Condition(ConditionWord.AT_REST), 2 * S)


def test_a_session_that_ended_forgets_no_motion() -> None:
    """The laptop slept: what the joints do now is not known until they are heard anew."""
    world = homed_world("none")
    moving(world)
    world.laptop.sleep(300_000)
    world.run_for(301_000)
    assert now(world).word is ConditionWord.NOT_KNOWN
    until(world, lambda: now(world).word in REST_WORDS, 20 * S)
    assert at_rest(world)
    assert run_of(world).phase is Phase.ENDED


def test_between_two_runs_of_a_queue_the_arm_starts_and_a_hold_or_stop_withdraws_that() -> None:
    world = homed_world("none")
    number = play(world)
    world.core.announced = "two trays, next in the queue"
    until(world, lambda: world.core.reports[number].ended_us is not None)
    told = Condition(ConditionWord.STARTS, "two trays, next in the queue")
    until(world, lambda: now(world) == told, 2 * S)
    assert arm_snapshot(world.core, world.laptop.now).busy
    world.command(ev.Hold())
    until(world, lambda: now(world) == Condition(ConditionWord.AT_REST), 2 * S)
    assert not arm_snapshot(world.core, world.laptop.now).busy
    world.core.announced = "two trays, next in the queue"
    world.command(ev.Stop())
    until(world, lambda: now(world).word is ConditionWord.STOPPED, 2 * S)
    with pytest.raises(ev.Refused, match="no program is being played"):
        world.command(ev.Hold())


def test_once_a_run_of_a_queue_is_at_its_end_the_arm_starts_while_joints_forget_it() -> None:
    world = homed_world("none")
    play(world)
    world.core.announced = "two trays, next in the queue"
    until_phase(world, Phase.DISCARDING)
    world.cut("base", 800_000)  # so that its answer is waited for
    until(world, lambda: now(world).word is not ConditionWord.MOVING, 1 * S)
    assert run_of(world).phase is Phase.DISCARDING
    assert now(world) == Condition(ConditionWord.STARTS, "two trays, next in the queue")
    world.command(ev.Hold())
    assert world.core.announced == ""
    assert now(world).word is ConditionWord.AT_REST


def test_a_run_that_is_held_is_held_whatever_comes_behind_it_in_a_queue() -> None:
    world = homed_world("none")
    moving(world)
    world.core.announced = "two trays, next in the queue"
    world.command(ev.Hold())
    until_phase(world, Phase.HELD)
    until(world, lambda: now(world) == Condition(ConditionWord.HELD, "the operator asked"), 2 * S)
    assert not arm_snapshot(world.core, world.laptop.now).busy
