"""Each rule of the joints' motion notices what it is there for: a safeguard is taken out.

Every case is played with the safeguard too, and then breaks nothing: so it is the safeguard that
keeps the rule, and its being gone that is noticed. Rules of commands are in test_rules.py.
"""

from dataclasses import dataclass, replace

import pytest

from coordinator.core.run.holding import Holding
from tests.campaign import play as playing
from tests.campaign.invariants import ALWAYS
from tests.campaign.invariants.base import Invariant
from tests.campaign.invariants.i03_dead import RestWithoutCoordinator
from tests.campaign.invariants.i04_together import Together
from tests.campaign.invariants.i06_unhomed import NoBlindMotion
from tests.campaign.invariants.i09_position import PositionTrue
from tests.campaign.judge import Violated
from tests.campaign.provocations import (
    Provoke,
    coordinator_dies,
    driver_fails,
    gets_hot,
    holds_and_resumes,
    intruder_tries,
    is_released,
    jogs,
    jogs_to_its_end,
    jogs_unhomed,
    link_is_cut,
    loses_steps,
    plays,
    plays_later,
)
from tests.campaign.rule_kit import PROGRAM, SCENARIO
from tests.campaign.safeguards import (
    TakeOut,
    a_step_away,
    another_map,
    estimate_guaranteed,
    fast_jog,
    hard_brakes,
    homed_for_ever,
    jogs_as_if_homed,
    late_starts_taken,
    maps_at_once,
    no_braking,
    no_edges,
    no_expiry,
    no_levelling,
    no_permit,
    no_permit_of_one,
    no_proof,
    no_range,
    no_silence,
    no_tag,
    reported_as_if_it_moved,
    small_bounds,
)
from tests.campaign.scenario import Happening, Scenario
from tests.campaign.stage import Stage, stage_of


@dataclass(frozen=True, slots=True)
class Case:
    """A safeguard, what needs it, and the rule that is broken where it is gone."""

    take_out: TakeOut
    provoke: Provoke
    rule: str
    words: str
    """Of the sentence: a rule can be broken in several ways."""
    only: type[Invariant] | None = None
    """The one rule that looks; all do where none is named. Some faults are seen by two."""
    scenario: Scenario = SCENARIO


FAST = replace(SCENARIO, arm_seed=2)
"""Its second joint is jogged at half of its speed while it is not homed."""
BYTES = replace(SCENARIO, real_bytes=True, from_begin=True)
CASES = (
    Case(no_permit, coordinator_dies, "I2", "its limit is"),
    Case(reported_as_if_it_moved, link_is_cut, "I2", "it reports a permit to"),
    Case(no_levelling, link_is_cut, "I3", "before the first of them ended"),
    Case(no_permit_of_one, coordinator_dies, "I3", "of path time apart", RestWithoutCoordinator),
    Case(no_silence, coordinator_dies, "I3", "after the last drive", RestWithoutCoordinator),
    Case(no_expiry, jogs, "I3", "if no drive came any more"),
    Case(estimate_guaranteed, plays, "I4", "guaranteed was"),
    Case(late_starts_taken, plays, "I4", "after its instant"),
    Case(small_bounds, plays, "I4", "its report states at most 0 µs"),
    Case(another_map, plays_later, "I4", "of path time ahead", Together),
    Case(hard_brakes, jogs, "I5", "accelerates by"),
    Case(fast_jog, jogs, "I5", "moves by"),
    Case(no_range, jogs_to_its_end, "I5", "its range"),
    Case(maps_at_once, plays, "I5", "the arm clock of"),
    Case(no_braking, driver_fails, "I6", "it is not homed", NoBlindMotion),
    Case(no_braking, gets_hot, "I6", "in spite of a fault", NoBlindMotion),
    Case(jogs_as_if_homed, jogs_unhomed, "I6", "is jogged unhomed", NoBlindMotion, FAST),
    Case(no_tag, intruder_tries, "I8", "took a drive of its own", scenario=BYTES),
    Case(no_proof, intruder_tries, "I8", "took a false proof", scenario=BYTES),
    Case(no_edges, holds_and_resumes, "I9", "would not mind if its home sensor switched"),
    Case(no_edges, loses_steps, "I9", "still says it is homed", PositionTrue),
    Case(homed_for_ever, is_released, "I9", "holds its axis by no motor"),
    Case(a_step_away, plays, "I9", "away from there"),
)  # fmt: skip


def case_id(case: Case) -> str:
    """As it stands in a list of tests."""
    return f"{case.rule}-{case.take_out.__name__}-{case.provoke.__name__}"


def stage_for(case: Case) -> Stage:
    """The homed arm of a case."""
    return stage_of(case.scenario, ALWAYS if case.only is None else (case.only,))


@pytest.mark.parametrize("case", CASES, ids=case_id)
def test_what_is_taken_out_is_noticed(case: Case, monkeypatch: pytest.MonkeyPatch) -> None:
    stage = stage_for(case)
    case.take_out(monkeypatch, stage)
    with pytest.raises(Violated) as caught:
        case.provoke(stage)
    assert caught.value.invariant == case.rule, str(caught.value)
    assert case.words in caught.value.message


@pytest.mark.parametrize("case", CASES, ids=case_id)
def test_the_same_breaks_nothing_with_the_safeguard(case: Case) -> None:
    case.provoke(stage_for(case))


@pytest.mark.parametrize(("held_for_ever", "rule"), [(False, None), (True, "I12")])
def test_run_that_never_knows_that_it_is_held_is_noticed(
    held_for_ever: bool, rule: str | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    if held_for_ever:
        monkeypatch.setattr(Holding, "step", lambda holding, now: None)
    scenario = replace(SCENARIO, program=PROGRAM, happenings=(Happening(1_500, "hold"),))
    violation = playing.play(scenario).violation
    assert (violation and violation.invariant) == rule, str(violation)
