"""Homing: joints one after another, what is found, what fails and how that is said."""

import pytest

from coordinator.core import events as ev
from coordinator.core.homing import HomingSequence, HomingState
from coordinator.rehearsal.world import COORDINATOR_ID, World
from protocol.messages import Edge, Homed
from protocol.states import JointState
from simulator.physics.hall import HallSensor
from tests.coordinator.core.kit import (
    EVEN,
    NAMES,
    S,
    at_rest,
    home,
    homed_world,
    link,
    of_kind,
    positions,
    refusal,
    state,
    truth,
    unit,
    until,
    wiretap,
    world_up,
)  # fmt: skip


def homing_of(world: World) -> HomingSequence:
    """The newest homing."""
    assert world.core.homing is not None
    return world.core.homing


def in_another_session(world: World, name: str) -> None:
    """Another coordinator of the same identity takes a joint, and at once this one has it again."""
    unit(world, name).by_value(
        world.now, lambda joint, now: joint.begin_session(COORDINATOR_ID, 99, now)
    )
    world.station.carrier.cut_off(link(world, name).joint.id)


def until_over(world: World, limit_us: int = 120 * S) -> HomingSequence:
    """Let the homing end."""
    homing = homing_of(world)
    until(world, lambda: homing.state is not HomingState.RUNNING, limit_us)
    return homing


def test_joints_are_homed_one_after_another_in_the_arm_files_order() -> None:
    world = world_up("quiet")
    truth(world)
    home(world)
    found = of_kind(truth(world), "home")
    order = sorted(NAMES, key=lambda name: found[name][0].at_ns)
    assert tuple(order) == world.arm.homing_order


def test_no_two_joints_search_at_once() -> None:
    world = world_up("none")
    world.command(ev.Home())
    while homing_of(world).state is HomingState.RUNNING:
        world.run_for(50_000)
        searching = [state(world, name) for name in NAMES].count(JointState.HOMING)
        assert searching <= 1


def test_home_puts_the_middle_of_the_sensors_window_at_the_home_angle() -> None:
    world = world_up("quiet")
    home(world)
    for name in NAMES:
        believed = unit(world, name).by_value(world.now, lambda joint, now: joint.position(now)[0])
        true = unit(world, name).true_position(world.now)[0]
        # The sensor's edges are exact here, so what is left is the rounding of the edges.
        assert abs(believed - true) <= 2.0


def test_every_edge_and_the_middle_are_reported_for_every_joint() -> None:
    world = world_up("home")
    home(world)
    world.run_for(1 * S)
    shown = homing_of(world).to_json()
    assert shown["state"] == "done"
    assert shown["current"] is None
    assert set(shown["joints"]) == set(NAMES)
    for found in shown["joints"].values():
        degrees = [edge.pop("from_middle_deg") for edge in found["edges"]]
        edges = [Edge(**edge) for edge in found["edges"]]
        # The software sensor's window is 4° wide (kit.py): its edges lie 2° from the middle.
        for edge, degree in zip(edges, degrees, strict=True):
            assert abs(degree) == pytest.approx(2.0, abs=0.01 if not edge.fast else 0.5)
        assert min(degrees) < 0 < max(degrees)
        slow = [edge.position for edge in edges if not edge.fast]
        assert abs(sum(slow) / 2 - found["middle"]) <= 1


def test_only_the_joints_named_are_homed() -> None:
    world = world_up("none")
    home(world, "tip", "base")
    states = {name: state(world, name) for name in NAMES}
    assert states["middle"] is JointState.UNHOMED
    assert set(homing_of(world).to_json()["joints"]) == {"tip", "base"}


def test_joints_asked_for_and_their_edges_are_told_in_the_arms_order_not_in_that_of_homing() -> (
    None
):
    world = world_up("none")
    home(world, "tip", "base")
    shown = homing_of(world).to_json()
    assert world.arm.homing_order.index("tip") < world.arm.homing_order.index("base")
    assert shown["asked"] == ["base", "tip"]
    assert list(shown["joints"]) == ["base", "tip"]


def hold_back(world: World, name: str) -> list[ev.Event]:
    """Let what a joint tells of its home come later than its status, or never; what came."""
    held: list[ev.Event] = []
    handle = world.core.handle

    def handled(event: ev.Event, now: int) -> None:
        if (
            isinstance(event, ev.Reported)
            and isinstance(event.report, Homed)
            and event.joint_id == link(world, name).joint.id
        ):
            held.append(event)
        else:
            handle(event, now)

    world.core.handle = handled  # type: ignore[method-assign]
    return held


def test_homing_is_done_once_the_edges_of_its_last_joint_are_known() -> None:
    world = world_up("none")
    handle = world.core.handle
    held = hold_back(world, "base")
    world.command(ev.Home(("base",)))
    until(world, lambda: bool(held))
    world.run_for(1 * S)
    assert state(world, "base") is JointState.READY
    assert homing_of(world).state is HomingState.RUNNING
    handle(held[0], world.station.now)
    until_over(world, 1 * S)
    assert homing_of(world).state is HomingState.DONE
    assert list(homing_of(world).to_json()["joints"]) == ["base"]


def test_homing_does_not_wait_for_ever_for_edges_that_got_lost() -> None:
    world = world_up("none")
    held = hold_back(world, "base")
    world.command(ev.Home(("base", "tip")))
    until_over(world)
    assert homing_of(world).state is HomingState.DONE
    assert held
    shown = homing_of(world).to_json()
    assert (shown["asked"], list(shown["joints"])) == (["base", "tip"], ["tip"])


def test_a_homed_joint_can_be_homed_again() -> None:
    world = homed_world("none")
    home(world)
    home(world, "middle")


def stuck(level: bool) -> HallSensor:
    """A home sensor that always says the same."""
    return HallSensor(0, 10**12) if level else HallSensor(10**15, 1)


@pytest.mark.parametrize("level", [True, False])
def test_a_home_sensor_that_is_stuck_fails_the_homing_with_the_joints_sentence(
    level: bool,
) -> None:
    world = world_up("none")
    unit(world, "tip").hall = stuck(level)
    world.run_for(1 * S)
    world.command(ev.Home())
    homing = until_over(world)
    assert homing.state is HomingState.FAILED
    assert homing.message.startswith("tip: ")
    assert "did not end within" in homing.message
    until(world, lambda: at_rest(world), 3 * S)
    place = positions(world)
    world.run_for(10 * S)
    assert positions(world) == place
    # The others were not begun.
    assert state(world, "base") is JointState.UNHOMED
    assert homing.to_json()["joints"] == {}


@pytest.mark.parametrize("ways", [["forward"], ["back"], ["forward", "back"]])
def test_a_homing_that_a_short_outage_cuts_goes_on_by_itself(ways: list[str]) -> None:
    world = world_up(EVEN)
    world.command(ev.Home())
    world.run_for(400_000)
    world.cut("tip", 600_000, ways)  # type: ignore[arg-type]
    homing = until_over(world)
    assert homing.state is HomingState.DONE, homing.message


def test_a_homing_whose_stream_breaks_goes_on_and_still_hears_of_the_edges() -> None:
    world = world_up(EVEN)
    world.command(ev.Home())
    world.run_for(400_000)
    world.station.carrier.cut_off(link(world, "tip").joint.id)
    homing = until_over(world)
    assert homing.state is HomingState.DONE, homing.message
    world.run_for(3 * S)
    assert set(homing.to_json()["joints"]) == set(NAMES)


def test_a_homing_ends_when_its_joint_is_lost_and_nothing_moves_on_its_return() -> None:
    world = world_up(EVEN)
    world.command(ev.Home())
    world.run_for(400_000)
    world.cut("tip", 3 * S)
    homing = until_over(world)
    assert homing.state is HomingState.FAILED
    assert "tip is not there" in homing.message
    # Its permission of 250 ms has run out by itself (design section 5).
    assert at_rest(world)
    place = positions(world)
    world.run_for(10 * S)
    assert positions(world) == place


def test_a_joint_that_boots_while_homing_does_not_go_on_by_itself() -> None:
    world = world_up(EVEN)
    world.command(ev.Home())
    world.run_for(400_000)
    world.kill_joint("tip")
    world.restart_joint("tip")
    homing = until_over(world)
    assert homing.state is HomingState.FAILED
    place = positions(world)
    world.run_for(10 * S)
    assert positions(world) == place
    home(world)


def test_a_joint_that_was_in_another_session_meanwhile_does_not_home_again_by_itself() -> None:
    """It forgets homing numbers with its session: what it has carried out would be new to it."""
    world = world_up(EVEN)
    world.command(ev.Home(("tip",)))
    until(world, lambda: state(world, "tip") is JointState.READY)
    in_another_session(world, "tip")
    homing = until_over(world)
    world.run_for(10 * S)
    assert homing.state is HomingState.FAILED
    assert homing.message == "tip was in another session meanwhile: home it again"
    assert len(of_kind(truth(world), "home")["tip"]) == 1


def test_homing_numbers_are_obeyed_once_each() -> None:
    world = world_up("home")
    wire = wiretap(world)
    home(world)
    home(world, "tip")
    numbers = [
        action.drive.homing_number
        for _, action in wire.drives
        if action.joint_id == link(world, "tip").joint.id and action.drive.homing_number
    ]
    assert numbers == sorted(numbers)
    assert len(set(numbers)) == 2


def test_homing_is_refused_while_anything_else_goes_on() -> None:
    world = homed_world("none")
    world.command(ev.Home())
    assert refusal(world, ev.Home()).code == "homing"
    until_over(world)
    world.command(ev.Jog("base", 1.0))
    assert refusal(world, ev.Home()).code == "jogging"


def test_homing_an_unknown_joint_is_refused_with_the_names_there_are() -> None:
    world = world_up("none")
    refused = refusal(world, ev.Home(("ankle",)))
    assert refused.code == "joint-unknown"
    assert refused.message == "there is no joint 'ankle'; this arm has base middle tip"


def test_homing_needs_the_joints_link() -> None:
    world = world_up("none")
    world.kill_joint("tip")
    until(world, lambda: not link(world, "tip").up)
    assert refusal(world, ev.Home()).code == "joint-absent"
    home(world, "base")
    assert world.core.run is None


def test_past_homings_are_remembered_by_number() -> None:
    world = homed_world("none")
    home(world, "tip")
    assert world.core.homings[1].to_json()["number"] == 1
    assert set(world.core.homings[2].to_json()["joints"]) == {"tip"}


def test_a_hold_ends_a_homing_and_the_joint_brakes() -> None:
    world = world_up("none")
    world.command(ev.Home())
    until(world, lambda: state(world, "tip") is JointState.HOMING)
    world.run_for(300_000)
    world.command(ev.Hold())
    homing = homing_of(world)
    assert homing.state is HomingState.FAILED
    assert homing.message == "held by the operator"
    # 30 °/s at 120 °/s²
    world.run_for(300_000)
    assert at_rest(world)
    place = positions(world)
    world.run_for(5 * S)
    assert positions(world) == place
    home(world)
