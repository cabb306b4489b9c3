"""A run whose moves come while it goes on: what becomes of the arm when they do not."""

import pytest

from coordinator.codes.outcome import Outcome
from coordinator.core import events as ev
from coordinator.core.run import Phase
from coordinator.core.run.loaded import not_loaded
from coordinator.core.snapshot.run import run_snapshot
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
    assert "were not planned in time" in report_of(world).message
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


def test_a_paused_run_whose_moves_are_lost_is_not_resumed() -> None:
    world = homed_world(capacity=64)
    plan, others = began(world)
    plan.take(others[:-1])
    until_phase(world, Phase.PAUSED, limit_us=60 * S)
    plan.break_off("the process that plans the program ended")
    told = run_snapshot(run_of(world), world.laptop.now).obstacle
    assert told is not None
    assert told.message == "the process that plans the program ended"
    with pytest.raises(ev.Refused, match="the process that plans the program ended"):
        world.command(ev.Resume())


@pytest.mark.parametrize(
    "text",
    ["G0 A5\n" * 3_000 + "M0\nA0\nM2\n", "G0 A0\n" * 3_000 + "M0\nA5\nM2\n"],
    ids=["behind its last motion", "before any"],
)
def test_thousands_of_moves_that_lead_nowhere_do_not_keep_the_rest_from_coming(text: str) -> None:
    world = homed_world()
    start = pose_at(world.arm, world.core.start_counts())
    parts = plan_text(text, world.arm, start, ahead=False)
    plan, made = FedPlan(len(parts)), pieces_of(parts)
    plan.take(next(made))
    world.command(ev.Play("fed", "", plan, lines=text.count("\n"), needs=()))

    def paused() -> bool:
        while plan.wants and (piece := next(made, None)) is not None:
            plan.take(piece)
        return run_of(world).phase is Phase.PAUSED

    until(world, paused, 60 * S)
    plan.close()
    world.command(ev.Resume())
    until_phase(world, Phase.ENDED, limit_us=60 * S)
    assert report_of(world).outcome is Outcome.FINISHED, describe(world)


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
