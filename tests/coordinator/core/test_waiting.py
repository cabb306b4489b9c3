"""Outputs in a run, truly: where they switch, what is awaited, and what comes between."""

import pytest

from coordinator.codes.outcome import Outcome
from coordinator.core import events as ev
from coordinator.core.condition import condition
from coordinator.core.run import Phase
from coordinator.core.snapshot.arm import arm_snapshot
from coordinator.motion import plan_parts
from coordinator.programs import parse_program
from protocol.constants import ACTIVE_INTERVAL_US
from protocol.drive import StopLevel
from protocol.light import ConditionWord
from tests.coordinator.core.grip import (
    GRIP,
    TIP,
    gripper,
    gripping_arm,
    gripping_world,
    waiting_world,
)
from tests.coordinator.core.kit import (
    S,
    at_rest,
    describe,
    finish,
    link,
    play,
    refusal,
    report_of,
    run_of,
    truth,
    until,
    until_phase,
)  # fmt: skip

MANY = "G90 G94\n" + "".join(f"G0 A{k % 3} B{k % 2}\nM{3 if k % 2 else 5}\n" for k in range(1, 9))
STEP_US = 5_000


def word(world: object) -> ConditionWord:
    return condition(world.core, world.laptop.now).word  # type: ignore[attr-defined]


@pytest.mark.parametrize("profile", ["quiet", "home", "busy", "hostile"])
def test_outputs_switch_within_a_status_interval_of_their_path_time(profile: str) -> None:
    world = gripping_world(profile, 3, tool="")
    program = parse_program(MANY + "M2", world.arm.letters)
    (part,) = plan_parts(program, world.arm, world.core.start_counts())
    planned = {
        move.start_us + move.duration_us: move.switch.on
        for move in part.moves()
        if move.switch is not None
    }
    world.command(ev.Play("many", MANY, (part,)))
    seen: dict[int, bool] = {}
    end_us = world.now + 300 * S
    while run_of(world).phase is not Phase.ENDED and world.now < end_us:
        if run_of(world).phase is Phase.HELD and run_of(world).report.outcome is Outcome.HELD:
            try:
                world.command(ev.Resume())
            except ev.Refused:
                world.run_for(1 * S)
        world.run_for(STEP_US)
        for event in truth(world)["tip"]:
            if event.event != "outputs":
                continue
            planned_us = min(planned, key=lambda at_us: abs(at_us - event.path_us))
            seen[planned_us] = bool(event.outputs)
            assert abs(event.path_us - planned_us) <= 2
            for unit in world.units:
                joint = unit.joint
                there_us = unit.by_value(world.now, lambda joint, now: joint.path_us(now))
                assert abs(there_us - planned_us) <= ACTIVE_INTERVAL_US, (joint.identity, there_us)
    assert report_of(world).outcome is Outcome.FINISHED, describe(world)
    assert seen == planned


def test_a_run_waits_for_its_input_and_goes_on_by_itself() -> None:
    world = gripping_world("quiet")
    play(world, GRIP)
    until_phase(world, Phase.WAITING)
    assert gripper(world)
    assert at_rest(world)
    assert word(world) is ConditionWord.STARTS
    cause = condition(world.core, world.laptop.now).cause
    assert cause == "test waits for held to be on (line 3, 2 s at most)"
    finish(world)
    assert not gripper(world)
    assert len(report_of(world).starts) == 2


def test_between_the_switch_and_the_next_motion_the_word_never_claims_rest() -> None:
    world = gripping_world("quiet")
    play(world, GRIP)
    until_phase(world, Phase.MOVING)
    words = set()
    while run_of(world).part == 0 or run_of(world).phase is not Phase.MOVING:
        words.add(word(world))
        world.run_for(1_000)
    assert words <= {ConditionWord.MOVING, ConditionWord.STARTS}


def test_an_input_that_never_comes_pauses_the_run_and_names_all_that_matters() -> None:
    world = waiting_world("quiet")
    begun_us = world.now
    until_phase(world, Phase.PAUSED)
    assert world.now - begun_us == pytest.approx(2 * S, abs=S / 20)
    why = "held of tip was not on within 2 s of gripper on (line 3)"
    assert condition(world.core, world.laptop.now).cause == f"test: {why}"
    assert (report_of(world).outcome, report_of(world).message) == (Outcome.PAUSED, why)
    (note,) = [note for note in world.notes if note.code == "paused"]
    assert note.message == f"paused: {why}; resume waits for it again"
    run = arm_snapshot(world.core, world.laptop.now).run
    assert run is not None
    assert (run.line, run.awaits, run.obstacle) == (3, "held to be on", None)
    world.run_for(10 * S)
    assert run_of(world).phase is Phase.PAUSED

    world.command(ev.Resume())
    assert run_of(world).phase is Phase.WAITING
    until_phase(world, Phase.PAUSED)
    world.units[TIP].input(world.now, 0, True)
    world.run_for(10 * S)
    assert run_of(world).phase is Phase.PAUSED, "an input alone resumes nothing"
    world.command(ev.Resume())
    finish(world)


def test_a_stop_ends_a_run_that_waits_or_paused_for_it() -> None:
    for phase in (Phase.WAITING, Phase.PAUSED):
        world = gripping_world("quiet")
        world.units[TIP].follows = False
        play(world, GRIP)
        until_phase(world, phase)
        world.command(ev.Stop(StopLevel.STOP))
        world.run_for(5 * S)
        assert run_of(world).phase is Phase.ENDED
        assert gripper(world), "a gripper keeps what it holds"


def test_a_hold_while_it_waits_pauses_it_until_a_resume() -> None:
    world = gripping_world("quiet")
    play(world, GRIP)
    until_phase(world, Phase.WAITING)
    world.command(ev.Hold())
    world.run_for(10 * S)
    assert run_of(world).phase is Phase.PAUSED
    assert condition(world.core, world.laptop.now).cause == "test: the operator asked"
    assert refusal(world, ev.Hold()).message == (
        "run 1 waits for resume at the wait of line 3; nothing moves"
    )
    world.command(ev.Resume())
    finish(world)


@pytest.mark.parametrize("before_us", [5_000, 100_000, 400_000, 800_000])
def test_a_hold_that_comes_just_before_the_switch_is_not_lost_in_the_wait(before_us: int) -> None:
    world = gripping_world("quiet")
    play(world, GRIP)
    until_phase(world, Phase.MOVING)
    end_us = run_of(world).point_feed.end_us
    course = run_of(world).course
    assert end_us is not None
    assert course is not None
    at_us = course.when(end_us)
    assert at_us is not None
    until(world, lambda: world.now >= at_us - before_us)
    world.command(ev.Hold())
    world.run_for(10 * S)
    assert run_of(world).phase in (Phase.HELD, Phase.PAUSED), describe(world)
    world.command(ev.Resume())
    finish(world)


def test_a_hold_while_the_part_is_discarded_is_not_lost_in_the_wait() -> None:
    world = gripping_world("quiet")
    play(world, GRIP)
    until_phase(world, Phase.DISCARDING)
    world.command(ev.Hold())
    world.run_for(10 * S)
    assert run_of(world).phase is Phase.PAUSED
    world.command(ev.Resume())
    finish(world)


def test_a_joint_that_is_lost_while_it_waits_pauses_it_and_nothing_starts_once_it_is_back() -> None:
    world = waiting_world("quiet")
    world.cut("base", 3 * S)
    until_phase(world, Phase.PAUSED)
    assert "base" in run_of(world).cause
    world.units[TIP].input(world.now, 0, True)
    world.run_for(20 * S)
    assert run_of(world).phase is Phase.PAUSED


@pytest.mark.parametrize("text", [GRIP, GRIP.replace("M3", "M0"), "G90 G94\nG0 A20\nM2\n"])
def test_a_joint_that_restarts_while_a_part_is_discarded_ends_the_run_unless_nothing_is_to_come(
    text: str,
) -> None:
    world = gripping_world()
    play(world, text)
    until_phase(world, Phase.MOVING)
    until_phase(world, Phase.DISCARDING)
    world.kill_joint("tip")
    world.restart_joint("tip")
    until_phase(world, Phase.ENDED)
    assert report_of(world).outcome is (Outcome.FINISHED if "A5" not in text else Outcome.LOST)


def test_a_joint_that_restarts_while_its_output_is_on_ends_the_run_with_the_output_off() -> None:
    world = waiting_world("quiet")
    assert gripper(world)
    world.kill_joint("tip")
    world.run_for(1 * S)
    world.restart_joint("tip")
    world.run_for(10 * S)
    assert report_of(world).outcome is Outcome.LOST, describe(world)
    assert not gripper(world)
    assert [event.outputs for event in truth(world)["tip"] if event.event == "outputs"] == [1, 0]


def test_what_an_input_showed_before_the_wait_says_nothing() -> None:
    world = gripping_world("quiet", tool='wait_off = { input = "held", is = true, within_s = 1 }\n')
    world.units[TIP].follows = False
    world.units[TIP].input(world.now, 0, True)
    play(world, "G90 G94\nG0 A20\nM5\nG0 A0\nM2\n")
    until_phase(world, Phase.DISCARDING)
    world.units[TIP].input(world.now, 0, False)
    world.run_for(10 * S)
    assert run_of(world).phase is Phase.PAUSED


def test_a_program_that_needs_an_output_that_the_joint_lacks_is_refused_with_its_line() -> None:
    world = gripping_world("quiet", outputs=0)
    parts = plan_parts(parse_program(GRIP, world.arm.letters), world.arm, world.core.start_counts())
    refused = refusal(world, ev.Play("test", GRIP, parts))
    assert refused.code == "output-unknown"
    assert refused.message == (
        "line 3: gripper is output 1 of tip by the arm file, but tip has none"
    )
    play(world, "G90 G94\nG0 A20\nM2\n")
    finish(world)


def test_each_joint_is_told_what_its_outputs_do_by_themselves() -> None:
    world = gripping_world("quiet", tool='on_hold = "off"\non_lost = "off"\n')
    assert [unit.joint._body.limits.outputs_off is None for unit in world.units] == [
        True, True, False,
    ]  # fmt: skip
    play(world, GRIP)
    until(world, lambda: gripper(world))
    until_phase(world, Phase.MOVING)
    world.command(ev.Hold())
    until_phase(world, Phase.HELD)
    assert not gripper(world)
    assert link(world, "tip").status is not None


def test_an_output_goes_off_without_any_coordinator_where_the_arm_file_says_so() -> None:
    for tool, kept in (('on_lost = "off"\n', False), ("", True)):
        world = gripping_world("quiet", tool=tool)
        play(world, GRIP)
        until(world, lambda world=world: gripper(world))  # type: ignore[misc]
        world.laptop.crash()
        world.run_for(5 * S)
        assert at_rest(world)
        assert gripper(world) is kept


def test_the_arm_of_these_tests_waits() -> None:
    assert gripping_arm().tool_outputs[0].wait_on is not None
