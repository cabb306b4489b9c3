"""A run whose moves come while it goes on: what becomes of the arm when they do not."""

from coordinator.codes.outcome import Outcome
from coordinator.core import events as ev
from coordinator.core.run import Phase
from coordinator.core.run.loaded import not_loaded
from coordinator.motion.feeding import Fed, FedPlan, needs_of, pieces_of
from coordinator.motion.outputs import ToolNeed
from coordinator.motion.plan import plan_text
from coordinator.motion.route import pose_at
from coordinator.rehearsal.world import World
from tests.coordinator.core.kit import (
    S,
    at_rest,
    describe,
    homed_world,
    link,
    report_of,
    run_of,
    until,
    until_phase,
)

TEXT = "".join(f"G0 A{k % 2} B{-k % 2}\n" for k in range(60)) + "M0\nA5\nM2\n"
COME = 32
"""Moves that are there as it begins."""


def pieces(world: World) -> tuple[FedPlan, list[Fed], tuple[ToolNeed, ...]]:
    start = pose_at(world.arm, world.core.start_counts())
    parts = plan_text(TEXT, world.arm, start, ahead=False)
    return (
        FedPlan(len(parts)),
        [one for piece in pieces_of(parts) for one in piece],
        needs_of(parts),
    )


def began(world: World, come: int = COME) -> tuple[FedPlan, list[Fed]]:
    """A run of which so much has come, and what has not."""
    plan, made, needs = pieces(world)
    plan.take(made[:come])
    world.command(ev.Play("fed", "", plan, lines=TEXT.count("\n"), needs=needs))
    return plan, made[come:]


def test_an_arm_whose_moves_do_not_come_in_time_holds_level_and_goes_on_once_they_are_there() -> (
    None
):
    world = homed_world(capacity=64)
    plan, others = began(world)
    until_phase(world, Phase.HELD, limit_us=60 * S)
    assert "no more than it needs to come to rest" in report_of(world).message
    (hold,) = report_of(world).holds
    assert hold.apart_us == 0
    plan.take(others)
    plan.close()
    world.run_for(2 * S)
    world.command(ev.Resume())
    until_phase(world, Phase.PAUSED, limit_us=120 * S)
    assert run_of(world).lines == TEXT.count("\n")
    world.command(ev.Resume())
    until_phase(world, Phase.ENDED, limit_us=60 * S)
    assert report_of(world).outcome is Outcome.FINISHED, describe(world)


def test_a_run_whose_moves_are_lost_comes_to_rest_on_its_path_and_says_why() -> None:
    world = homed_world(capacity=64)
    plan, _ = began(world)
    until_phase(world, Phase.MOVING)
    plan.break_off("the process that plans the program ended")
    until_phase(world, Phase.ENDED, limit_us=30 * S)
    assert at_rest(world)
    assert report_of(world).outcome is Outcome.LOST
    assert report_of(world).message == "the process that plans the program ended"
    (hold,) = report_of(world).holds
    assert hold.apart_us == 0


def test_a_start_waits_until_enough_moves_are_there() -> None:
    world = homed_world(capacity=64)
    plan, others = began(world, 1)
    world.run_for(5 * S)
    assert run_of(world).phase is Phase.LOADING
    assert not_loaded(link(world, "base"), run_of(world).point_feed) == (
        "its points are not planned yet"
    )
    plan.take(others)
    plan.close()
    until(world, lambda: run_of(world).phase is Phase.MOVING)
