"""Feed override, on the rate at which the joints really move."""

import pytest

from coordinator.core import events as ev
from coordinator.core.run import Phase
from coordinator.rehearsal.world import World
from protocol.constants import PPM
from tests.coordinator.core.kit import (
    EVEN,
    NAMES,
    codes,
    finish,
    held_places,
    homed_world,
    moving,
    path_us,
    refusal,
    report_of,
    run_of,
    until,
    until_phase,
)


def settled(world: World, rate_ppm: int) -> None:
    """Let time pass until the arm runs at a rate."""
    until(
        world,
        lambda: (
            (m := run_of(world).moving) is not None
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
    until(world, lambda: (m := run_of(world).moving) is not None and m.next_deadline() is not None)
    moved = run_of(world).moving
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
