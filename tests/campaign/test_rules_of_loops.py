"""Rules of loops and of currents at rest notice what they are there for: a safeguard is taken out.

Every case is played with the safeguard too, and then breaks nothing.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import pytest

from coordinator.core import events as ev
from coordinator.core.run import Phase
from protocol.constants import US
from tests.campaign.happenings import Happenings
from tests.campaign.invariants.base import Invariant
from tests.campaign.invariants.currents import FullCurrentToMove
from tests.campaign.invariants.loops import LoopsAsTold
from tests.campaign.judge import Violated
from tests.campaign.rule_kit import SCENARIO, begin_play, phase
from tests.campaign.safeguards import (
    TakeOut,
    astray_and_homed,
    edges_unseen,
    full_current_unasked,
    held_between_loops_in_vain,
    moves_before_it_settled,
    one_loop_more_is_told,
    reduces_early,
    time_is_never_over,
)
from tests.campaign.scenario import Happening, Scenario
from tests.campaign.stage import Stage, stage_of

RESTS = replace(SCENARIO, idle_current=True)
THERE_AND_BACK = ("G90 G94", "G0 A10", "G0 A0", "M2")
LOOPS = replace(SCENARIO, program=THERE_AND_BACK, loops=3)
FOR_A_TIME = replace(LOOPS, loops=None, for_s=4.0)
OVER_EDGES = replace(LOOPS, loops=2, check_edges=True)


def jogs_after_a_rest(stage: Stage) -> None:
    """Long enough for currents to be reduced, and a jog for longer than that takes."""
    stage.world.run_for(4 * US)
    assert any(unit.joint.reduced for unit in stage.world.units)
    for _ in range(50):
        stage.world.command(ev.Jog({"j1": -1.0}))
        stage.world.run_for(US // 10)


def jogs_long(stage: Stage) -> None:
    for _ in range(50):
        stage.world.command(ev.Jog({"j1": -1.0}))
        stage.world.run_for(US // 10)


def plays_on(stage: Stage, scenario: Scenario) -> None:
    """Until the run has ended, which it does."""
    begin_play(stage, scenario)
    assert stage.world.run_until(lambda: phase(stage.world) is Phase.ENDED, 120 * US)
    stage.world.run_for(US)


def plays_loops(stage: Stage) -> None:
    plays_on(stage, LOOPS)


def plays_over_edges(stage: Stage) -> None:
    plays_on(stage, OVER_EDGES)


def plays_for_a_time(stage: Stage) -> None:
    plays_on(stage, FOR_A_TIME)


def holds_between_loops(stage: Stage) -> None:
    begin_play(stage, FOR_A_TIME)
    assert stage.world.run_until(lambda: phase(stage.world) is Phase.DISCARDING, 30 * US)
    stage.world.command(ev.Hold())
    stage.world.run_for(5 * US)


def strays(stage: Stage) -> None:
    """A joint loses many steps in the first loop; then the edges are checked, and some time goes
    by.
    """
    lost = Happening(2_000, "astray", (0,), amount=-20.0)
    scenario = replace(OVER_EDGES, happenings=(lost,))
    happenings = Happenings(scenario, stage.world, stage.judge)
    happenings.schedule(stage.world.now)
    assert happenings.play()
    assert stage.world.run_until(lambda: phase(stage.world) is Phase.ENDED, 120 * US)
    stage.world.run_for(12 * US)


@dataclass(frozen=True, slots=True)
class Case:
    """A safeguard, what needs it, and the sentence where it is gone."""

    take_out: TakeOut
    provoke: Callable[[Stage], None]
    words: str
    scenario: Scenario = LOOPS
    rule: type[Invariant] = LoopsAsTold


CASES = (
    Case(moves_before_it_settled, jogs_after_a_rest, "full current", RESTS, FullCurrentToMove),
    Case(reduces_early, jogs_after_a_rest, "after it moved", RESTS, FullCurrentToMove),
    Case(full_current_unasked, jogs_long, "asks for no full", RESTS, FullCurrentToMove),
    Case(one_loop_more_is_told, plays_over_edges, "the joints have played"),
    Case(time_is_never_over, plays_for_a_time, "and it is for 4 s"),
    Case(held_between_loops_in_vain, holds_between_loops, "begins after a hold"),
    Case(astray_and_homed, strays, "still says that it is homed"),
    Case(edges_unseen, strays, "is said to be where it should be"),
)


def case_id(case: Case) -> str:
    """As it stands in a list of tests."""
    return f"{case.take_out.__name__}-{case.provoke.__name__}"


@pytest.mark.parametrize("case", CASES, ids=case_id)
def test_what_is_taken_out_is_noticed(case: Case, monkeypatch: pytest.MonkeyPatch) -> None:
    stage = stage_of(case.scenario, (case.rule,))
    case.take_out(monkeypatch, stage)
    with pytest.raises(Violated) as caught:
        case.provoke(stage)
    assert caught.value.invariant == case.rule.name, str(caught.value)
    assert case.words in caught.value.message


@pytest.mark.parametrize("provoke", list(dict.fromkeys(case.provoke for case in CASES)))
def test_the_same_breaks_nothing_with_the_safeguard(provoke: Callable[[Stage], None]) -> None:
    case = next(case for case in CASES if case.provoke is provoke)
    provoke(stage_of(case.scenario, (case.rule,)))
