"""When an update may begin, and what may not begin while one is under way."""

from collections.abc import Callable

import pytest

from coordinator.codes.update_phase import UpdatePhase
from coordinator.core import events as ev
from coordinator.motion import plan_parts
from coordinator.programs import parse_program
from coordinator.rehearsal.world import World
from protocol.drive import StopLevel
from protocol.states import JointState
from tests.coordinator.core.kit import (
    S,
    homed_world,
    link,
    moving,
    play,
    refusal,
    small_arm,
    until,
    world_up,
)
from tests.coordinator.core.updating.scripted import WAY_US, Bench, signed

UPDATE = ev.Update("base", signed())


def refused(bench: Bench, command: ev.Command) -> ev.Refused:
    """The refusal of a command that must be refused, and changes nothing."""
    before = bench.core.updates.snapshot()
    with pytest.raises(ev.Refused) as found:
        bench.command(command)
    assert bench.core.updates.snapshot() == before
    return found.value


def heard_again(bench: Bench) -> None:
    """Let every joint say how it is now."""
    bench.run_for(1 * S)


def test_a_joint_that_the_arm_has_not_is_named_with_those_that_it_has() -> None:
    found = refused(Bench(), ev.Update("elbow", signed()))
    assert (found.code, found.message) == (
        "joint-unknown", "there is no joint 'elbow'; this arm has base middle",
    )  # fmt: skip


def test_a_joint_that_is_offline_is_refused() -> None:
    bench = Bench()
    bench.cut_power(60 * S)
    bench.run_for(5 * S)
    assert refused(bench, UPDATE).code == "joint-offline"


def test_a_motor_that_is_on_is_refused_with_what_to_do_first() -> None:
    bench = Bench()
    bench.joint.energised = True
    heard_again(bench)
    found = refused(bench, UPDATE)
    assert found.code == "energised"
    # These joints are not homed, so --park would be refused.
    assert "base and middle are not homed, so that the arm cannot be parked" in found.message
    assert "support it" in found.message
    assert "'unisono stop --level stop-and-release' or" in found.message
    assert "--park" not in found.message
    assert "it may fall as they go off" in found.message


def test_a_homed_arm_is_parked_before_its_motors_go_off() -> None:
    world = homed_world()
    world.run_for(1 * S)  # until they have said that they rest
    found = refusal(world, ev.Update("tip", signed()))
    assert found.code == "energised"
    assert "'unisono stop --level stop-and-release --park'" in found.message
    assert "a raised arm may fall" in found.message
    assert "not homed" not in found.message


def test_a_motor_that_is_about_to_be_on_is_refused() -> None:
    bench = Bench()
    bench.link.orders.energise = True  # and its joint has not said yet that it is
    assert refused(bench, UPDATE).code == "energised"


def test_what_the_arm_is_about_is_told_before_anything_of_the_image() -> None:
    bench = Bench()
    bench.joint.energised = True
    heard_again(bench)
    assert refused(bench, ev.Update("base", signed(board="other-board"))).code == "energised"


def test_a_joint_that_takes_no_images_is_refused() -> None:
    bench = Bench()
    bench.joint.board = None
    bench.break_stream()
    heard_again(bench)
    assert refused(bench, UPDATE).code == "no-images"


@pytest.mark.parametrize(
    ("command", "code", "sentence"),
    [
        (
            ev.Update("base", signed(board="other-board")),
            "image-board",
            "the image is for the board other-board, and base is a bench-joint",
        ),
        (
            ev.Update("base", signed(bytes(5001))),
            "image-size",
            "the image has 5001 bytes, base has room for 5000",
        ),
    ],
    ids=["board", "size"],
)
def test_an_image_that_does_not_fit_is_refused(
    command: ev.Update, code: str, sentence: str
) -> None:
    bench = Bench()
    bench.joint.capacity = 5000
    bench.break_stream()
    heard_again(bench)
    found = refused(bench, command)
    assert (found.code, found.message) == (code, sentence)


def test_the_image_that_runs_already_is_refused() -> None:
    bench = Bench()
    bench.begin()
    bench.over()
    assert refused(bench, UPDATE).code == "image-runs"


def test_one_joint_at_a_time() -> None:
    bench = Bench()
    bench.begin()
    found = refused(bench, ev.Update("middle", signed()))
    assert found.code == "updating"
    assert found.message == ("base is being updated (offering 1.5.0 to base): an update must wait")
    bench.over()
    bench.command(ev.Update("middle", signed()))
    assert bench.over().phase is UpdatePhase.DONE


def test_a_joint_that_moves_is_refused_whichever_it_is() -> None:
    bench = Bench()
    bench.joints[bench.core.links[1].id].state = JointState.JOGGING
    heard_again(bench)
    found = refused(bench, UPDATE)
    assert (found.code, found.message) == (
        "not-at-rest", "middle has not confirmed to be at rest",
    )  # fmt: skip


def test_what_is_announced_to_be_played_is_waited_for() -> None:
    bench = Bench()
    bench.core.announced = "tray.nc"
    found = refused(bench, UPDATE)
    assert found.code == "running"
    assert found.message.startswith("tray.nc is about to be played")


def a_play() -> ev.Play:
    text = "G90 G94\nG0 A1 B1\nM2\n"
    arm = small_arm(2)
    return ev.Play("tray.nc", text, plan_parts(parse_program(text, arm.letters), arm, [0, 0]))


MOTION = (
    ev.Home(),
    ev.Home(("middle",)),
    a_play(),
    ev.Jog({"middle": 1.0}),
    ev.Step("middle", 1.0, 1.0),
    ev.Go("park", {"base": 0.0, "middle": 0.0}, 0.1),
)


@pytest.mark.parametrize("command", MOTION, ids=lambda one: type(one).__name__)
def test_nothing_that_moves_or_switches_motors_on_begins_meanwhile(command: ev.Command) -> None:
    bench = Bench()
    bench.begin()
    for phase in (UpdatePhase.OFFERED, UpdatePhase.RESTARTING):
        while bench.update.phase is not phase:
            bench.run_for(WAY_US)
        found = refused(bench, command)
        assert found.code == "updating"
        assert not any(one.orders.energise for one in bench.core.links)
    bench.over()


def test_no_program_may_be_planned_meanwhile_either() -> None:
    bench = Bench()
    bench.begin()
    with pytest.raises(ev.Refused) as found:
        bench.core.require_playable(bench.now)
    assert found.value.code == "updating"


# ---- software joints, which move ----------------------------------------------------------------


@pytest.mark.parametrize(
    ("brings", "code"),
    [
        (lambda world: moving(world), "running"),
        (lambda world: play(world), "running"),
        (lambda world: world.command(ev.Home(("tip",))), "homing"),
        (lambda world: world.command(ev.Jog({"tip": 5.0})), "jogging"),
        (lambda world: world.command(ev.Stop(StopLevel.STOP)), "stopping"),
    ],
    ids=["moving", "loaded", "homing", "jogging", "stopping"],
)
def test_an_arm_that_is_about_anything_is_refused(
    brings: Callable[[World], object], code: str
) -> None:
    world = homed_world()
    brings(world)
    assert refusal(world, UPDATE).code == code


def test_motors_that_were_let_go_are_off_and_a_stop_that_is_latched_is_no_hindrance() -> None:
    world = world_up()
    world.command(ev.Stop(StopLevel.STOP_AND_RELEASE))
    until(world, lambda: not link(world, "base").orders.stop_wanted)
    world.run_for(1 * S)
    # It is asked behind all that would be refused before: these joints take no images.
    assert refusal(world, UPDATE).code == "no-images"
