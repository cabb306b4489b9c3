"""The table of a run's phases: what leads where, and that the document shows just that."""

from collections.abc import Iterator
from pathlib import Path
from typing import get_args

import pytest

from coordinator.core import events as ev
from coordinator.core.run.loading import LOAD_PATIENCE_US
from coordinator.core.run.phase import RunPhase
from coordinator.core.run.phases import TRANSITIONS, Phase, Trigger, follow, mermaid
from coordinator.core.run.replies import ANSWER_PATIENCE_US
from coordinator.core.run.turns import Turn
from tests.coordinator.core.kit import (
    EVEN,
    LONG,
    S,
    homed_world,
    moving,
    play,
    play_to,
    run_of,
    until_phase,
)

DEVELOPERS = Path(__file__).parents[4] / "DEVELOPERS.md"


def test_the_diagram_for_developers_is_the_table() -> None:
    text = DEVELOPERS.read_text()
    begun = text.index("<!-- begin: run phases -->")
    assert text[begun : text.index("<!-- end: run phases -->")].split("```")[1] == (
        f"mermaid\n{mermaid()}\n"
    )


def below(kind: type[RunPhase]) -> Iterator[type[RunPhase]]:
    """All classes that are of this kind, also by another one."""
    for one in kind.__subclasses__():
        yield one
        yield from below(one)


def test_every_phase_has_one_class_and_every_turn_one_trigger() -> None:
    classes = [kind.phase for kind in below(RunPhase) if "phase" in vars(kind)]
    assert sorted(classes) == sorted(Phase)
    triggers = [kind.trigger for kind in get_args(Turn)]
    assert sorted(triggers) == sorted(Trigger)


def test_every_phase_can_be_reached_and_a_stop_ends_it() -> None:
    reached = {Phase.LOADING}
    while (
        more := {target for (phase, _), target in TRANSITIONS.items() if phase in reached} - reached
    ):
        reached |= more
    assert reached == set(Phase)
    assert all(follow(phase, Trigger.STOP) is Phase.ENDED for phase in reached - {Phase.ENDED})


@pytest.mark.parametrize("phase", Phase)
@pytest.mark.parametrize("trigger", Trigger)
def test_what_is_not_in_the_table_does_not_happen(phase: Phase, trigger: Trigger) -> None:
    if (phase, trigger) in TRANSITIONS:
        assert follow(phase, trigger) is TRANSITIONS[phase, trigger]
    else:
        with pytest.raises(KeyError, match=f"{phase} does not know {trigger.name.lower()}"):
            follow(phase, trigger)


def test_a_run_has_few_things_to_keep() -> None:
    world = homed_world("none")
    moving(world)
    assert len(vars(run_of(world))) < 10


@pytest.mark.parametrize(
    ("phase", "patience_us"),
    [(Phase.LOADING, LOAD_PATIENCE_US), (Phase.PREPARING, ANSWER_PATIENCE_US)],
)
def test_patience_with_a_joint_is_a_deadline(phase: Phase, patience_us: int) -> None:
    world = homed_world(EVEN)
    play_to(world, phase)
    entered_us = world.laptop.now
    due_us = run_of(world).next_deadline()
    assert due_us is not None
    assert 0 <= entered_us + patience_us + 1 - due_us <= S


def test_a_joint_that_is_not_heard_in_motion_is_a_deadline() -> None:
    world = homed_world("none")
    moving(world)
    due_us = run_of(world).next_deadline()
    assert due_us is not None
    oldest_us = min(link.heard_us or 0 for link in world.core.links)
    assert due_us == oldest_us + 1_000_001


def test_the_settling_of_a_start_is_a_deadline() -> None:
    world = homed_world(EVEN)
    play(world, LONG)
    until_phase(world, Phase.MOVING)
    until_settling = run_of(world)
    assert world.run_until(lambda: until_settling._settle_us is not None, 5 * S)
    assert until_settling.next_deadline() == until_settling._settle_us


def test_a_hold_before_the_start_is_carried_out_once_prepared_and_can_be_taken_back() -> None:
    world = homed_world(EVEN)
    play_to(world, Phase.LOADING)
    world.command(ev.Hold())
    world.command(ev.Resume())
    until_phase(world, Phase.MOVING)
