"""Homing: joints one after another, what is found, what fails and how that is said."""

from dataclasses import replace

import pytest

from coordinator.codes.outcome import Outcome
from coordinator.codes.refusal import RefusalCode
from coordinator.core import events as ev
from coordinator.core.homing import HomingSequence, HomingState
from coordinator.core.run import Phase
from coordinator.rehearsal.world import COORDINATOR_ID, World
from protocol.constants import COUNTS_PER_MICROSTEP
from protocol.drive import Mode
from protocol.messages import Discard, Edge, Homed, Reject
from protocol.states import JointState
from simulator.network import Profile
from simulator.physics.hall import HallSensor
from simulator.unit import JointUnit
from tests.as_json import as_json
from tests.coordinator.core.kit import (
    EVEN,
    NAMES,
    S,
    all_up,
    at_rest,
    codes,
    finish,
    home,
    homed_world,
    link,
    moving,
    of_kind,
    play,
    positions,
    refusal,
    run_of,
    small_arm,
    state,
    states_of_one_that_fails_as_it_is_cleared,
    truth,
    unit,
    units,
    until,
    until_phase,
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
    world.break_stream(name)


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


def test_a_joint_that_does_not_know_its_figures_yet_is_named_and_that_it_passes_by_itself() -> None:
    arm = small_arm(1)
    world = World(arm, units(arm, 1), "none", 1)
    last = link(world, arm.joints[0].name)
    until(world, lambda: last.up)
    assert not last.connection.configured
    refused = refusal(world, ev.Home((last.name,)))
    assert refused.code is RefusalCode.JOINT_NOT_CONFIGURED
    assert refused.message == (
        f"{last.name} is not configured yet: it is just being told the arm file's figures, which "
        "passes by itself in a moment; then try again"
    )
    last.connection.configuration_refused("the ramp is too steep")
    assert refusal(world, ev.Home((last.name,))).message == (
        f"{last.name} does not take its configuration: the ramp is too steep"
    )


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
    shown = as_json(homing_of(world).snapshot())
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


def move_sensor(world: World, name: str, by_deg: float) -> None:
    """Somebody knocks against a joint's home sensor."""
    joint, one = link(world, name).joint, unit(world, name)
    settings, by = one.settings, by_deg * joint.counts_per_degree
    one.hall = HallSensor(
        settings.home_centre + by, settings.home_half_width, period=settings.counts_per_turn
    )


def shift_deg(world: World, name: str) -> float | None:
    """What the newest homing said of how far home had wandered."""
    return homing_of(world).results[name].shift_deg


@pytest.mark.parametrize("by_deg", [0.5, -0.25])
def test_a_homing_tells_how_far_the_sensor_is_from_where_the_homing_before_found_it(
    by_deg: float,
) -> None:
    world = world_up("none")
    home(world)
    for name in NAMES:
        assert shift_deg(world, name) is None  # nobody knew before
        move_sensor(world, name, by_deg)
    home(world)
    for name in NAMES:
        assert shift_deg(world, name) == pytest.approx(by_deg, abs=0.001)
    home(world)
    for name in NAMES:
        assert shift_deg(world, name) == pytest.approx(0.0, abs=0.001)


def test_a_homing_tells_by_how_much_steps_were_lost() -> None:
    world = world_up("none")
    home(world)
    joint = link(world, "tip").joint
    slip = 4 * joint.microsteps * COUNTS_PER_MICROSTEP
    unit(world, "tip").lose_steps(world.now, slip)
    home(world, "tip")
    # The axis is ahead of where it is believed to be, so that home seems to be nearer.
    expected = -slip / joint.counts_per_degree
    assert shift_deg(world, "tip") == pytest.approx(expected, abs=0.001)


def test_a_homing_keeps_the_temperature_the_controller_and_the_figures_it_was_made_with() -> None:
    world = world_up("none", count=1)
    home(world)
    one = link(world, "base")
    found = homing_of(world).results["base"]
    assert one.status is not None
    assert one.status.temperature_centi_c is not None
    assert found.temperature_c == pytest.approx(one.status.temperature_centi_c / 100, abs=2.0)
    assert found.controller == one.joint.id
    assert found.figures is not None
    assert f"home at {one.joint.home_deg:g}°" in found.figures


def test_a_joint_whose_home_wandered_does_not_count_as_homed_until_somebody_accepts_it() -> None:
    world = world_up("none")
    home(world)
    assert link(world, "tip").homed
    limit_deg = link(world, "tip").joint.home_shift_limit_deg
    move_sensor(world, "tip", 3 * limit_deg)
    home(world)
    assert state(world, "tip") is JointState.READY  # the joint itself knows its place
    assert not link(world, "tip").homed
    assert link(world, "middle").homed
    for command in (ev.Play("test", "", ()), ev.Go("park", {"tip": 10.0}, 0.5)):
        refused = refusal(world, command)
        assert refused.code is RefusalCode.HOME_WANDERED
        assert "unisono home --accept tip" in refused.message
        assert "steps were lost, or its home sensor moved" in refused.message
    world.run_for(2 * S)
    with pytest.raises(ev.Refused, match="unisono home --accept tip"):
        world.core.standing_deg(world.laptop.now)
    # Homing it again puts home to the same place, which nobody has looked at.
    home(world)
    assert not link(world, "tip").homed
    until(world, lambda: "home-wandered" in codes(world))
    found = link(world, "tip").home
    assert found is not None
    assert found.wandered_deg == pytest.approx(3 * limit_deg, abs=0.001)

    world.core.accept_home("tip", found.homing, "the phone", world.laptop.now)
    world.run_for(3 * S)
    assert link(world, "tip").homed
    assert {"home-accepted", "home-wandered-over"} <= set(codes(world))
    play(world, "G0 A1 B1 C1\nM2\n")
    finish(world)
    # The place that was accepted is what others are compared with from now on.
    home(world)
    assert link(world, "tip").homed


def test_home_that_wanders_bit_by_bit_is_told_once_it_is_beyond_the_limit_in_all() -> None:
    world = world_up("none", count=1)
    home(world)
    limit_deg = link(world, "base").joint.home_shift_limit_deg
    for share in (0.6, 0.9):
        move_sensor(world, "base", share * limit_deg)
        home(world)
        assert link(world, "base").homed
    move_sensor(world, "base", 1.2 * limit_deg)
    home(world)
    assert not link(world, "base").homed


def test_a_restart_does_not_make_people_forget_that_home_wandered() -> None:
    world = world_up("none", count=1)
    home(world)
    one = link(world, "base")
    move_sensor(world, "base", 2 * one.joint.home_shift_limit_deg)
    home(world)
    world.kill_joint("base")
    world.run_for(1 * S)
    world.restart_joint("base")
    until(world, lambda: one.status is not None and not one.status.homed and all_up(world))
    assert refusal(world, ev.Play("test", "", ())).code is RefusalCode.NOT_HOMED
    home(world)
    assert shift_deg(world, "base") is None
    assert refusal(world, ev.Play("test", "", ())).code is RefusalCode.HOME_WANDERED


def test_only_home_that_wandered_is_accepted_and_only_as_it_was_seen() -> None:
    world = world_up("none", count=1)
    for homing in (None, 1):
        with pytest.raises(ev.Refused) as refused:
            world.core.require_wandered("base")
        assert refused.value.code is RefusalCode.NOTHING_TO_ACCEPT
        if homing is None:
            home(world)
    one = link(world, "base")
    move_sensor(world, "base", 2 * one.joint.home_shift_limit_deg)
    home(world)
    world.core.accept_home("base", 1, "somebody", world.laptop.now)  # another homing came between
    assert not one.homed
    assert world.core.require_wandered("base") == 2


def test_what_homings_found_is_known_to_the_next_coordinator() -> None:
    world = world_up("none", count=1)
    home(world)
    one = link(world, "base")
    found = one.home
    assert found is not None
    world.core.take_homes({"base": replace(found, wandered_deg=0.5), "thumb": found})
    assert not one.homed


def test_only_the_joints_named_are_homed() -> None:
    world = world_up("none")
    home(world, "tip", "base")
    states = {name: state(world, name) for name in NAMES}
    assert states["middle"] is JointState.UNHOMED
    assert set(as_json(homing_of(world).snapshot())["joints"]) == {"tip", "base"}


def test_joints_asked_for_and_their_edges_are_told_in_the_arms_order_not_in_that_of_homing() -> (
    None
):
    world = world_up("none")
    home(world, "tip", "base")
    shown = as_json(homing_of(world).snapshot())
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
    handle(held[0], world.laptop.now)
    until_over(world, 1 * S)
    assert homing_of(world).state is HomingState.DONE
    assert list(as_json(homing_of(world).snapshot())["joints"]) == ["base"]


def test_homing_does_not_wait_for_ever_for_edges_that_got_lost() -> None:
    world = world_up("none")
    held = hold_back(world, "base")
    world.command(ev.Home(("base", "tip")))
    until_over(world)
    assert homing_of(world).state is HomingState.DONE
    assert held
    shown = as_json(homing_of(world).snapshot())
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
    assert as_json(homing.snapshot())["joints"] == {}


@pytest.mark.parametrize("ways", [["forward"], ["back"], ["forward", "back"]])
def test_a_homing_that_a_short_outage_cuts_goes_on_by_itself(ways: list[str]) -> None:
    world = world_up(EVEN)
    world.command(ev.Home())
    world.run_for(400_000)
    world.cut("tip", 600_000, ways)  # type: ignore[arg-type]
    homing = until_over(world)
    assert homing.state is HomingState.DONE, homing.message


def test_a_homing_that_is_cut_short_again_and_again_turns_no_further_than_one_travel() -> None:
    world = world_up(EVEN)
    world.command(ev.Home(("tip",)))
    unit(world, "tip").stick_hall(world.now, level=False)  # it never meets its sensor
    begun = unit(world, "tip").true_position(world.now)[0]
    joint = world.arm.joint("tip")
    furthest = 0.0
    while homing_of(world).state is HomingState.RUNNING:
        world.run_for(900_000)
        world.cut("tip", 400_000)  # longer than its expiry: it brakes, and is asked again
        world.run_for(400_000)
        turned = unit(world, "tip").true_position(world.now)[0] - begun
        furthest = max(furthest, abs(turned / joint.counts_per_degree))
    assert "attempts without being homed, its travel is 190°" in homing_of(world).message
    # Within an expiry and a round trip at 30 °/s it is told; then it brakes from that speed.
    assert furthest <= 190 + 2 + 30 * 0.6


@pytest.mark.parametrize("slipped_deg", [8.0, -8.0])
def test_a_joint_that_turns_without_end_and_lost_steps_is_homed_though_its_search_is_cut_short(
    slipped_deg: float,
) -> None:
    """It turns nearly once until it meets its sensor, in pieces of at most 3 s (SEED=24128)."""
    arm = small_arm()
    endless = replace(
        arm.joint("tip"), range_deg=None, homing=replace(arm.joint("tip").homing, travel_deg=370)
    )
    arm = replace(arm, joints=(*arm.joints[:2], endless))
    made = units(arm, 1)
    made[2] = JointUnit(replace(made[2].settings, continuous=True), bytes(32), 1e6)
    world = World(arm, made, EVEN, 1)
    until(world, lambda: all_up(world))
    home(world)
    unit(world, "tip").lose_steps(world.now, endless.to_counts(slipped_deg))
    world.run_for(1 * S)
    world.command(ev.Home(("tip",)))
    until_us = world.now + 60 * S
    while homing_of(world).state is HomingState.RUNNING and world.now < until_us:
        world.run_for(3 * S)
        world.cut("tip", 400_000)
        world.run_for(400_000)
    assert homing_of(world).state is HomingState.DONE, homing_of(world).message
    true = endless.to_degrees(round(unit(world, "tip").true_position(world.now)[0]))
    assert abs((true + 180) % 360 - 180) < 0.1


def test_a_homing_whose_stream_breaks_goes_on_and_still_hears_of_the_edges() -> None:
    world = world_up(EVEN)
    world.command(ev.Home())
    world.run_for(400_000)
    world.break_stream("tip")
    homing = until_over(world)
    assert homing.state is HomingState.DONE, homing.message
    world.run_for(3 * S)
    assert set(as_json(homing.snapshot())["joints"]) == set(NAMES)


def test_a_homing_ends_when_its_joint_is_lost_and_nothing_moves_on_its_return() -> None:
    world = world_up(EVEN)
    world.command(ev.Home())
    world.run_for(400_000)
    world.cut("tip", 3 * S)
    homing = until_over(world)
    assert homing.state is HomingState.FAILED
    assert "tip is offline" in homing.message
    # Its permission of 250 ms has run out by itself (design section 5.7).
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


@pytest.mark.parametrize("profile", [EVEN, "busy"])
def test_nothing_that_a_home_or_jog_asks_of_a_joint_is_rejected(profile: str | Profile) -> None:
    """A drive is quicker than the stream: what it sets in motion would reject a request there."""
    world = world_up(profile)
    wire = wiretap(world)
    home(world)
    world.kill_joint("tip")
    until(world, lambda: not link(world, "tip").heard(world.laptop.now))
    world.restart_joint("tip")
    until(world, lambda: all_up(world))
    home(world, "tip")
    world.command(ev.Jog({"tip": 5.0}))
    world.run_for(2 * S)
    assert [one for _, one in wire.reports if isinstance(one.report, Reject)] == []


def test_points_that_a_joint_kept_are_discarded_before_it_homes() -> None:
    """It was away at its run's end, and rests in mid-path: from there nothing homes."""
    world = homed_world(EVEN)
    moving(world)
    world.cut("tip", 8 * S)
    until_phase(world, Phase.HELD)
    run_of(world).stop(Outcome.LOST, "for this test", world.laptop.now)
    until(world, lambda: all_up(world))
    assert state(world, "tip") is JointState.HELD
    wire = wiretap(world)
    home(world, "tip")
    discards = [one.joint_id for _, one in wire.frames if isinstance(one.content, Discard)]
    assert discards == [link(world, "tip").joint.id]
    assert any(one.drive.mode is Mode.HOME for _, one in wire.drives)


def test_homing_is_refused_while_anything_else_goes_on() -> None:
    world = homed_world("none")
    world.command(ev.Home())
    assert refusal(world, ev.Home()).code == "homing"
    until_over(world)
    world.command(ev.Jog({"base": 1.0}))
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
    assert refusal(world, ev.Home()).code == "joint-offline"
    home(world, "base")
    assert world.core.run is None


def test_past_homings_are_remembered_by_number() -> None:
    world = homed_world("none")
    home(world, "tip")
    assert as_json(world.core.homings[1].snapshot())["number"] == 1
    assert set(as_json(world.core.homings[2].snapshot())["joints"]) == {"tip"}


def test_a_hold_ends_a_homing_and_the_joint_brakes() -> None:
    world = world_up("none")
    world.command(ev.Home())
    until(world, lambda: state(world, "tip") is JointState.HOMING)
    world.run_for(300_000)
    world.command(ev.Hold())
    homing = homing_of(world)
    assert homing.state is HomingState.FAILED
    assert homing.message == "held: the operator asked"
    # 30 °/s at 120 °/s²
    world.run_for(300_000)
    assert at_rest(world)
    place = positions(world)
    world.run_for(5 * S)
    assert positions(world) == place
    home(world)


@pytest.mark.parametrize("profile", ["none", "busy"])
@pytest.mark.parametrize("command", [ev.Home(("tip",)), ev.HoldHome("tip")], ids=["home", "held"])
def test_a_fault_that_a_clear_under_way_takes_away_unseen_begins_no_homing(
    profile: str, command: ev.Home | ev.HoldHome
) -> None:
    world = homed_world(profile)
    repeats = 6 if isinstance(command, ev.HoldHome) else None
    seen = states_of_one_that_fails_as_it_is_cleared(world, "tip", command, repeats=repeats)
    assert JointState.HOMING not in seen
    assert homing_of(world).state is HomingState.FAILED
    assert homing_of(world).message == "tip: it has a fault"
