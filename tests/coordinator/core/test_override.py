"""PointFeed override, on the rate at which the joints really move."""

import pytest

from coordinator.core import events as ev
from coordinator.core.run import Phase
from coordinator.rehearsal.world import World
from protocol.constants import PPM
from protocol.states import JointState
from tests.coordinator.core.kit import (
    EVEN,
    LONG,
    NAMES,
    codes,
    finish,
    held_places,
    homed_world,
    links,
    moving,
    path_us,
    refusal,
    report_of,
    run_of,
    states,
    until,
    until_phase,
)


def settled(world: World, rate_ppm: int) -> None:
    """Let time pass until the arm runs at a rate."""
    until(
        world,
        lambda: (
            (m := run_of(world).motion) is not None
            and m.rate_ppm == rate_ppm
            and world.now > m.course.settled_us
        ),
    )


def true_rate(world: World, name: str) -> float:
    """Rate of a joint's path time by true time, measured over 50 ms."""
    before = path_us(world, name)
    world.run_for(50_000)
    return (path_us(world, name) - before) / 50_000


@pytest.mark.parametrize("rate_ppm", [50_000, 300_000, 1_000_000])
def test_an_override_takes_effect_in_all_joints(rate_ppm: int) -> None:
    world = homed_world("home")
    moving(world)
    world.command(ev.Override(500_000))
    settled(world, 500_000)
    world.command(ev.Override(rate_ppm))
    settled(world, rate_ppm)
    for name in NAMES:
        # The joint's crystal and the slewing of its map cost up to 0.05 % (design I5).
        assert true_rate(world, name) == pytest.approx(rate_ppm / PPM, rel=6e-4)
    world.command(ev.Hold())
    until_phase(world, Phase.HELD)
    assert len(held_places(world)) == 1


def test_of_several_overrides_in_a_row_the_last_one_counts() -> None:
    world = homed_world("home")
    moving(world)
    for rate_ppm in (900_000, 400_000, 250_000):
        world.command(ev.Override(rate_ppm))
        world.run_for(10_000)
    settled(world, 250_000)
    assert report_of(world).holds == []


def test_an_override_that_not_all_confirm_in_time_is_withdrawn_and_nothing_holds() -> None:
    world = homed_world(EVEN)
    moving(world)
    world.command(ev.Override(500_000))
    until(world, lambda: (m := run_of(world).motion) is not None and m.next_deadline() is not None)
    moved = run_of(world).motion
    assert moved is not None
    due = moved.next_deadline()
    assert due is not None
    world.cut("tip", due - world.now, ["back"])
    until(world, lambda: "override-withdrawn" in codes(world))
    assert moved.rate_ppm == 1_000_000
    world.run_for(500_000)
    assert run_of(world).phase is Phase.MOVING
    assert true_rate(world, "base") == pytest.approx(1.0, rel=6e-4)
    world.command(ev.Override(500_000))
    settled(world, 500_000)
    finish(world)


def withdrawn(world: World, rate_ppm: int) -> None:
    """Ask for a rate whose confirmation does not come in time."""
    world.command(ev.Override(rate_ppm))
    until(world, lambda: (m := run_of(world).motion) is not None and m.next_deadline() is not None)
    moved = run_of(world).motion
    assert moved is not None
    due = moved.next_deadline()
    assert due is not None
    world.cut("tip", due - world.now, ["back"])
    before = codes(world).count("override-withdrawn")
    until(world, lambda: codes(world).count("override-withdrawn") > before)


def test_the_speed_told_after_an_override_was_withdrawn_is_the_one_that_stands() -> None:
    world = homed_world(EVEN)
    moving(world)
    withdrawn(world, 500_000)
    assert run_of(world).rate_ppm == 1_000_000
    # Nor does it come into force later on, when the next part starts.
    world.command(ev.Stop())
    until(world, lambda: all(one.at_rest and not one.orders.stop_wanted for one in links(world)))
    moving(world, text=LONG.replace("G0 A0", "M0\nG0 A0"))
    withdrawn(world, 500_000)
    until_phase(world, Phase.PAUSED)
    world.command(ev.Resume())
    until_phase(world, Phase.MOVING)
    settled(world, 1_000_000)
    finish(world)
    assert report_of(world).overrides == []


def test_a_withdrawn_override_leaves_the_one_before_and_nothing_holds() -> None:
    world = homed_world(EVEN)
    moving(world)
    world.command(ev.Override(500_000))
    settled(world, 500_000)
    withdrawn(world, 250_000)
    world.run_for(1_000_000)
    assert run_of(world).phase is Phase.MOVING
    assert report_of(world).holds == []
    for name in NAMES:
        assert true_rate(world, name) == pytest.approx(0.5, rel=6e-4)


def test_a_hold_goes_by_the_slower_speed_that_joints_may_have_before_that_is_confirmed() -> None:
    world = homed_world(EVEN)
    # A gap a while ago makes all take longer to hear of anything.
    world.cut("middle", 400_000)
    moving(world)
    world.command(ev.Override(50_000))
    until(world, lambda: (m := run_of(world).motion) is not None and m.next_deadline() is not None)
    moved = run_of(world).motion
    assert moved is not None
    due = moved.next_deadline()
    assert due is not None
    world.cut("tip", due - world.now, ["back"])
    world.run_for(due - world.now - 20_000)
    assert moved.rate_ppm == 1_000_000
    world.command(ev.Hold())
    heard_us = 1.5 * max(one.quality.worst_delay_us for one in links(world))
    world.run_for(int(heard_us) + 2_000)
    # All have taken the new speed, and are at the end of their permit when all have heard of it.
    assert set(states(world)) <= {JointState.RAMPING, JointState.HELD}
    until_phase(world, Phase.HELD)
    assert len(held_places(world)) == 1


def test_an_override_holds_through_the_parts_of_a_run_and_not_in_the_next_run() -> None:
    world = homed_world("none")
    moving(world, text=LONG.replace("G0 A0", "M0\nG0 A0"))
    world.command(ev.Override(400_000))
    settled(world, 400_000)
    until_phase(world, Phase.PAUSED)
    world.command(ev.Resume())
    until_phase(world, Phase.MOVING)
    settled(world, 400_000)
    assert true_rate(world, "tip") == pytest.approx(0.4, rel=6e-4)
    finish(world)
    moving(world)
    assert run_of(world).rate_ppm == 1_000_000
    assert true_rate(world, "tip") == pytest.approx(1.0, rel=6e-4)


def test_an_override_asked_for_at_a_pause_holds_from_the_next_part_on() -> None:
    world = homed_world("none")
    moving(world, text=LONG.replace("G0 A0", "M0\nG0 A0"))
    until_phase(world, Phase.PAUSED)
    world.command(ev.Override(400_000))
    world.command(ev.Resume())
    until_phase(world, Phase.MOVING)
    settled(world, 400_000)


def test_an_override_asked_for_while_held_holds_from_the_resume_on() -> None:
    world = homed_world("none")
    moving(world)
    world.command(ev.Hold())
    until_phase(world, Phase.HELD)
    world.command(ev.Override(400_000))
    world.command(ev.Resume())
    until_phase(world, Phase.MOVING)
    settled(world, 400_000)
    assert true_rate(world, "tip") == pytest.approx(0.4, rel=6e-4)


def test_the_speed_of_before_a_hold_is_kept_for_the_resume() -> None:
    world = homed_world("none")
    moving(world)
    world.command(ev.Override(400_000))
    settled(world, 400_000)
    world.command(ev.Hold())
    until_phase(world, Phase.HELD)
    world.command(ev.Resume())
    until_phase(world, Phase.MOVING)
    settled(world, 400_000)


@pytest.mark.parametrize("rate_ppm", [49_999, 1_000_001, 0, -1])
def test_an_override_out_of_range_is_refused_with_the_limits(rate_ppm: int) -> None:
    world = homed_world("none")
    moving(world)
    refused = refusal(world, ev.Override(rate_ppm))
    assert refused.code == "override-range"
    assert "5 to 100 %" in refused.message
