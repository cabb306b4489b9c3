"""Runs, starts and holds are counted once each, however often a report grows."""

from coordinator.core import events as ev
from coordinator.core.run import Phase
from coordinator.records.counts import RunCounts
from coordinator.rehearsal.world import World
from tests.coordinator.core.kit import (
    EVEN,
    finish,
    homed_world,
    moving,
    play,
    run_of,
    until_phase,
)


def look(counts: RunCounts, world: World) -> tuple[dict[str, int], int, int, int]:
    counts.take(run_of(world).report)
    return dict(counts.ended), counts.starts, counts.partial_starts, counts.holds


def test_starts_holds_and_ends_are_counted_as_they_come() -> None:
    world, counts = homed_world(EVEN), RunCounts()
    moving(world)
    assert look(counts, world) == look(counts, world) == ({}, 1, 0, 0)
    world.command(ev.Hold())
    until_phase(world, Phase.HELD)
    assert look(counts, world) == ({}, 1, 0, 1)
    world.command(ev.Resume())
    finish(world)
    assert look(counts, world) == look(counts, world) == ({"finished": 1}, 2, 0, 1)
    play(world, "G90 G94\nG0 A5\nM2\n")
    until_phase(world, Phase.MOVING)
    assert look(counts, world) == ({"finished": 1}, 3, 0, 1)
    world.command(ev.Stop())
    assert look(counts, world) == ({"finished": 1, "stopped": 1}, 3, 0, 1)


def test_report_of_an_earlier_run_that_changes_counts_nothing_again() -> None:
    world, counts = homed_world(EVEN), RunCounts()
    first = play(world, "G90 G94\nG0 A5\nM2\n")
    finish(world)
    assert look(counts, world) == ({"finished": 1}, 1, 0, 0)
    moving(world)
    assert look(counts, world) == ({"finished": 1}, 2, 0, 0)
    counts.take(world.core.reports[first])
    assert look(counts, world) == ({"finished": 1}, 2, 0, 0)
