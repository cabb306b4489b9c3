"""Links whose delays are longer one way than the other: clocks read wrong, and set right later.

A joint whose clock must be set right by more than it can bleed off would fall to rest by itself.
"""

import re

import pytest

from coordinator.codes.refusal import RefusalCode
from coordinator.core import events as ev
from coordinator.core.clock_maps import SHIFT_LIMIT_US
from coordinator.core.homing import HomingState
from coordinator.core.run import Phase
from coordinator.rehearsal.faulty_link import Trouble
from coordinator.rehearsal.world import World
from protocol.constants import REMAINDER_LIMIT_US
from protocol.states import JointState
from simulator.network import Direction, Profile
from tests.coordinator.core.kit import (
    EVEN,
    LONG,
    NAMES,
    S,
    all_up,
    at_rest,
    finish,
    held_places,
    home,
    homed_world,
    link,
    moving,
    of_kind,
    play,
    refusal,
    report_of,
    run_of,
    small_arm,
    start_skew_us,
    state,
    truth,
    unit,
    units,
    until,
    until_phase,
)

FOREVER_US = 10**12


def lopsided(
    world: World, way: Direction, delay_us: int = 80_000, end_us: int = FOREVER_US, *names: str
) -> None:
    """From now on delays are longer one way, as under an upload of somebody else."""
    for name in names or NAMES:
        world.faulty_link(name).trouble(Trouble.DELAY, delay_us, world.now, end_us, (way,))


def lopsided_world(way: Direction, delay_us: int, *, end_us: int = FOREVER_US) -> World:
    """A world that never knew even delays; joints are up and homed."""
    arm = small_arm(3)
    world = World(arm, units(arm, 1), "home", 1)
    lopsided(world, way, delay_us, end_us)
    until(world, lambda: all_up(world), 30 * S)
    home(world)
    return world


WAYS: tuple[Direction, ...] = ("forward", "back")


@pytest.mark.parametrize("way", WAYS)
def test_a_start_that_nobody_can_prove_to_be_together_is_refused_with_joint_and_figures(
    way: Direction,
) -> None:
    world = lopsided_world(way, 80_000)
    play(world)
    until_phase(world, Phase.ENDED)
    report = report_of(world)
    assert report.outcome == "refused"
    assert "20 ms are allowed (skew_limit_ms)" in report.message
    assert "one way than the other" in report.message
    assert report.starts == []
    assert of_kind(truth(world), "start") == {name: [] for name in NAMES}


VAGUE_US = 400_000
"""Where delays are so much longer one way, a clock is known to ±200 ms."""


ORDINARY = Profile(base_forward_ms=75.0, base_back_ms=75.0)
"""As long as links that people jog over ever take: 150 ms there and back."""
COMMANDS: dict[str, ev.Command] = {
    "jog": ev.Jog({"base": 10.0}),
    "step": ev.Step("base", 1.0, 10.0),
    "go": ev.Go("tray", {"base": 5.0}, 0.5),
    "home": ev.Home(("base",)),
}
MOVES = (JointState.JOGGING, JointState.HOMING)


def not_trusted(world: World, name: str, duration_us: int) -> set[JointState]:
    """The states of a joint while its clock contradicts itself again and again."""
    states = set()
    for _ in range(duration_us // 10_000):
        link(world, name).sync.clock.reset("it is stepped again and again")
        world.run_for(10_000)
        states.add(state(world, name))
    return states


@pytest.mark.parametrize("command", COMMANDS.values(), ids=COMMANDS)
def test_over_an_ordinary_long_link_everything_is_moved(command: ev.Command) -> None:
    world = homed_world(ORDINARY)
    world.run_for(2 * S)
    world.command(command)
    until(world, lambda: state(world, "base") in MOVES, 2 * S)


@pytest.mark.parametrize("command", COMMANDS.values(), ids=COMMANDS)
def test_nothing_goes_on_under_an_expiry_while_a_clock_is_not_trusted(command: ev.Command) -> None:
    world = homed_world(EVEN)
    world.run_for(2 * S)
    world.command(command)
    until(world, lambda: state(world, "base") in MOVES, 2 * S)
    not_trusted(world, "base", 700_000)  # the permission, and braking from 10 °/s and more
    assert not not_trusted(world, "base", 1 * S) & {*MOVES}
    if not isinstance(command, ev.Home):
        assert world.core.jogging == []
        assert any("it is stepped again and again" in note.message for note in world.notes)
    if isinstance(command, ev.Jog):
        with pytest.raises(ev.Refused, match=r"stepped again and again.*let go of the control"):
            world.core.jog.require_let_go(world.laptop.now - 2 * S)


def test_a_homing_that_is_asked_for_waits_until_the_clock_is_trusted() -> None:
    world = homed_world(EVEN)
    not_trusted(world, "base", 50_000)
    world.command(ev.Home(("base",)))
    assert not not_trusted(world, "base", 1 * S) & {*MOVES}
    until(world, lambda: state(world, "base") is JointState.HOMING, 3 * S)


def becomes_vague(world: World, name: str, way: Direction) -> None:
    """Delays are very long one way, and nothing is believed that was known of the clock before."""
    lopsided(world, way, VAGUE_US, FOREVER_US, name)
    world.run_for(1 * S)
    link(world, name).sync.clock.reset("it is another one")


@pytest.mark.parametrize("command", COMMANDS.values(), ids=COMMANDS)
@pytest.mark.parametrize("way", ["forward", "back"])
def test_a_joint_whose_clock_is_too_vague_for_a_permission_to_end_in_time_is_not_moved(
    way: Direction, command: ev.Command
) -> None:
    world = homed_world(EVEN)
    becomes_vague(world, "base", way)
    world.run_for(10 * S)
    refused = refusal(world, command)
    assert refused.code is RefusalCode.CLOCK_UNCERTAIN
    assert re.match(r"base: its clock is known to ±20\d\.\d ms only", str(refused))
    assert "±100 ms" in str(refused)


@pytest.mark.parametrize("way", ["forward", "back"])
def test_a_homing_fails_when_the_clock_becomes_too_vague(way: Direction) -> None:
    world = homed_world(EVEN)
    world.command(ev.Home(("base",)))
    becomes_vague(world, "base", way)
    world.run_for(10 * S)
    assert at_rest(world)
    homing = world.core.homing
    assert homing is not None
    assert homing.state is HomingState.FAILED
    assert "base: its clock is known to ±" in homing.message


@pytest.mark.parametrize("in_s", [0.1, 0.5, 1.0, 2.0, 4.0])
@pytest.mark.parametrize("way", WAYS)
def test_lopsided_delays_that_end_hold_the_arm_at_one_path_time_or_not_at_all(
    way: Direction, in_s: float
) -> None:
    """An arm file that allows so much: the clocks are wrong by up to 15 ms, and set right by it."""
    arm = small_arm(3)
    world = World(arm, units(arm, 1), "home", 1)
    for name in NAMES[:2]:
        lopsided(world, way, 30_000, FOREVER_US, name)
    until(world, lambda: all_up(world), 30 * S)
    home(world)
    truth(world)
    world.core.skew_limit_us = 100_000
    play(world, LONG)
    until_phase(world, Phase.MOVING)
    world.run_for(int(in_s * S))
    for name in NAMES[:2]:
        world.faulty_link(name).replace(world.profile, 3, world.now)
    world.run_for(6 * S)
    until_phase(world, Phase.HELD)
    assert len(held_places(world)) == 1
    report = report_of(world)
    assert report.holds[-1].apart_us == 0
    assert "read wrong by" in report.holds[-1].cause
    until(world, lambda: all(one.sync.shift_us is None for one in world.core.links))
    world.command(ev.Resume())
    finish(world)


@pytest.mark.parametrize("way", WAYS)
def test_lopsided_delays_that_begin_in_mid_move_stop_no_joint_by_itself(way: Direction) -> None:
    world = homed_world("home")
    moving(world)
    lopsided(world, way, 80_000, world.now + 3 * S)
    world.run_for(4 * S)
    assert len(held_places(world)) <= 1
    if run_of(world).phase is Phase.HELD:
        world.command(ev.Resume())
    finish(world)


def test_a_map_that_a_joint_could_not_bleed_off_waits_until_it_rests() -> None:
    """The estimate is made to jump as it does where a bound was wide."""
    world = homed_world("none")
    moving(world)
    tip = link(world, "tip")
    shift_us = 0.0
    make = tip.clock.make_map
    world.core.skew_limit_us = 1e9

    def shifted(number: int, now_us: int):  # type: ignore[no-untyped-def]
        fresh = make(number, now_us)
        return type(fresh)(
            fresh.number, fresh.arm_us, fresh.joint_us - round(shift_us), fresh.rate_ppb
        )

    tip.clock.make_map = shifted  # type: ignore[method-assign]
    world.run_for(1_500_000)
    shift_us = SHIFT_LIMIT_US + 500
    until(world, lambda: tip.sync.shift_us is not None, 2 * S)
    until_phase(world, Phase.HELD)
    assert report_of(world).holds[-1].apart_us == 0
    assert report_of(world).holds[-1].cause.startswith("tip: its clock turns out to be read")
    assert "could not be reached" not in report_of(world).holds[-1].cause
    world.run_for(2 * S)
    assert tip.sync.shift_us is None
    joint = unit(world, "tip").joint
    assert joint.clock is not None
    assert abs(joint.clock.remainder_us(joint._now)) < 1.0
    world.command(ev.Resume())
    finish(world)


def test_a_map_that_a_joint_can_bleed_off_is_sent_in_motion() -> None:
    world = homed_world("none")
    moving(world)
    tip = link(world, "tip")
    shift_us, make = 0, tip.clock.make_map

    def shifted(number: int, now_us: int):  # type: ignore[no-untyped-def]
        fresh = make(number, now_us)
        return type(fresh)(fresh.number, fresh.arm_us, fresh.joint_us - shift_us, fresh.rate_ppb)

    tip.clock.make_map = shifted  # type: ignore[method-assign]
    shift_us = SHIFT_LIMIT_US - 500
    world.run_for(1_500_000)
    assert tip.status is not None
    assert 0 < abs(tip.status.remainder_us) < REMAINDER_LIMIT_US
    assert run_of(world).phase is Phase.MOVING
    finish(world)


def test_an_estimate_that_the_guarantee_makes_worthless_is_no_figure() -> None:
    """80 ms one way: 0.3 ms was estimated, 42 ms proved, and the truth was 39 ms."""
    arm = small_arm(3)
    world = World(arm, units(arm, 1), "home", 1)
    lopsided(world, "forward", 80_000, FOREVER_US, "tip")
    until(world, lambda: all_up(world), 30 * S)
    home(world)
    truth(world)
    world.core.skew_limit_us = 1e6
    play(world)
    until_phase(world, Phase.MOVING)
    starts = [events[0] for events in of_kind(truth(world), "start").values() if events]
    finish(world)
    starts = starts or [events[0] for events in of_kind(truth(world), "start").values()]
    (record,) = report_of(world).starts
    assert record.start_skew_max_us is not None
    true_us = start_skew_us(starts)
    assert 30_000 < true_us <= record.start_skew_max_us
    assert record.start_skew_us is None or record.start_skew_us * 100 >= record.start_skew_max_us


def test_a_joint_that_holds_by_itself_is_told_as_that_with_its_own_cause() -> None:
    """A change of speed comes to it too late, and is withdrawn too late as well."""
    world = homed_world(EVEN)
    moving(world)
    end_us = world.now + 400_000
    world.faulty_link("tip").trouble(Trouble.DELAY, 250_000, world.now, end_us, ("forward",))
    world.command(ev.Override(500_000))
    until_phase(world, Phase.HELD)
    cause = report_of(world).holds[-1].cause
    assert cause == "tip stops by itself: a change of speed reached it too late"
    assert "could not be reached" not in cause


@pytest.mark.parametrize("way", WAYS)
def test_a_link_that_becomes_lopsided_is_told_of_and_that_it_is_over(way: Direction) -> None:
    world = homed_world("home")
    world.run_for(30 * S)
    lopsided(world, way, 80_000, world.now + 40 * S, "tip")
    world.run_for(39 * S)
    told = [note for note in world.notes if note.code == "link-lopsided"]
    assert [note.joint for note in told] == ["tip"]
    longer = "to the joint than back" if way == "forward" else "back than to the joint"
    assert f"longer {longer} when this began, of" in told[0].message
    world.run_for(60 * S)
    assert "link-lopsided-over" in [note.code for note in world.notes]
