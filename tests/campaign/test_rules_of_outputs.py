"""Rules of outputs, waits and entries notice what they are there for: a safeguard is taken out.

Every case is played with the safeguard too, and then breaks nothing.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import pytest

from coordinator.core import events as ev
from coordinator.core.run import Phase
from protocol.constants import US
from tests.campaign.invariants.base import Invariant
from tests.campaign.invariants.entry import SlowlyToTheEntry
from tests.campaign.invariants.i11_command import OnlyByCommand
from tests.campaign.invariants.outputs import OutputsAsTold
from tests.campaign.judge import Violated
from tests.campaign.rule_kit import SCENARIO, begin_play, phase
from tests.campaign.safeguards import (
    TakeOut,
    away_from_its_path,
    enters_at_full_speed,
    enters_without_a_rest,
    goes_on_without_its_input,
    hands_wait_long,
    kept_at_a_hold,
    kept_at_a_stop,
    kept_in_silence,
    never_switches,
    nobody_forgets,
    switches_as_it_ends,
    switches_as_it_starts,
    switches_unasked,
)
from tests.campaign.scenario import OUTPUT, Scenario
from tests.campaign.stage import Stage, stage_of
from tests.campaign.truth import body_of

GRIP = ("G90 G94", "G1 A-30 F1200", "M3", "G1 A30 F1200", "M5", "G1 A20 F1200", "M2")
OFF = replace(SCENARIO, arm_seed=7, program=GRIP)
"""Its gripper goes off at a hold, at a stop and in silence; nothing is awaited."""
KEPT = replace(OFF, arm_seed=12)
"""Its gripper is kept at a hold, but not at a stop, nor in silence."""
FROM_LINE = replace(OFF, from_line=4)
WAITS = replace(OFF, arm_seed=2)
"""Its programs wait until the gripper holds something."""


def grips(stage: Stage) -> None:
    """Plays until the gripper is on and the arm moves again."""
    begin_play(stage, OFF)
    gripper = body_of(stage.world.node("j2"))
    assert stage.world.run_until(lambda: bool(gripper.outputs), 20 * US)
    stage.world.run_for(US // 2)


def grips_and_holds(stage: Stage) -> None:
    """In the move behind the switch; where the gripper is never on, after as long."""
    begin_play(stage, OFF)
    gripper = body_of(stage.world.node("j2"))
    stage.world.run_until(lambda: bool(gripper.outputs), 3 * US)
    stage.world.run_for(US // 2)
    stage.world.command(ev.Hold())
    stage.world.run_for(2 * US)


def grips_and_stops(stage: Stage) -> None:
    grips(stage)
    stage.world.command(ev.Stop())
    stage.world.run_for(2 * US)


def grips_and_hears_nothing(stage: Stage) -> None:
    grips(stage)
    stage.world.kill_coordinator()
    stage.world.run_for(6 * US)


def ends(stage: Stage) -> None:
    """Plays to the end."""
    begin_play(stage, OFF)
    assert stage.world.run_until(lambda: phase(stage.world) is Phase.ENDED, 60 * US)


def switches_by_hand_and_ends(stage: Stage) -> None:
    rests(stage)
    stage.world.command(ev.Switch(OUTPUT, on=True))
    stage.world.run_for(US)
    stage.world.command(ev.Switch(OUTPUT, on=False))
    stage.world.run_for(US)
    ends(stage)


def enters(stage: Stage) -> None:
    """Plays from a line in the middle, until the arm rests there or has ended."""
    begin_play(stage, FROM_LINE)
    over = (Phase.PAUSED, Phase.ENDED)
    assert stage.world.run_until(lambda: phase(stage.world) in over, 60 * US)


def rests(stage: Stage) -> None:
    stage.world.run_for(2 * US)


def asks_a_joint_that_is_away(stage: Stage) -> None:
    rests(stage)
    stage.world.cut("j2", 4 * US)
    stage.world.command(ev.Switch(OUTPUT, on=True))
    stage.world.run_for(3 * US)


def jogs_meanwhile(stage: Stage) -> None:
    """What was asked of the gripper has not come to its joint when another joint is jogged."""
    rests(stage)
    stage.world.cut("j2", US // 2)
    stage.world.command(ev.Switch(OUTPUT, on=True))
    stage.world.run_for(US // 20)
    stage.world.command(ev.Jog({"j1": -2.0}))
    stage.world.run_for(US)


@dataclass(frozen=True, slots=True)
class Case:
    """A safeguard, what needs it, and the sentence where it is gone."""

    take_out: TakeOut
    provoke: Callable[[Stage], None]
    words: str
    scenario: Scenario = OFF
    rule: type[Invariant] = OutputsAsTold


CASES = (
    Case(switches_as_it_starts, ends, "and switches outputs by no point"),
    Case(never_switches, grips_and_holds, "its path says the other"),
    Case(away_from_its_path, ends, "from where its path rests"),
    Case(kept_at_a_hold, grips_and_holds, "holds, and outputs 1 did not go off"),
    Case(kept_at_a_stop, grips_and_stops, "is stopped, and outputs 1 did not go off"),
    Case(kept_in_silence, grips_and_hears_nothing, "hears nothing, and outputs 1", KEPT),
    Case(switches_unasked, rests, "and no hand asked"),
    Case(hands_wait_long, asks_a_joint_that_is_away, "ms after a hand asked"),
    Case(nobody_forgets, jogs_meanwhile, "and no hand asked"),
    Case(switches_as_it_ends, ends, "and nobody asked"),
    Case(switches_as_it_ends, switches_by_hand_and_ends, "and nobody asked"),
    Case(enters_at_full_speed, enters, "counts/s to the entry", FROM_LINE, SlowlyToTheEntry),
    Case(enters_without_a_rest, enters, "and nobody resumed", FROM_LINE, SlowlyToTheEntry),
    Case(goes_on_without_its_input, ends, "a run goes on, though", WAITS, OnlyByCommand),
)


def case_id(case: Case) -> str:
    """As it stands in a list of tests."""
    return f"{case.take_out.__name__}-{case.provoke.__name__}"


def stage_for(case: Case) -> Stage:
    """The homed arm of a case."""
    return stage_of(case.scenario, (case.rule,))


@pytest.mark.parametrize("case", CASES, ids=case_id)
def test_what_is_taken_out_is_noticed(case: Case, monkeypatch: pytest.MonkeyPatch) -> None:
    stage = stage_for(case)
    case.take_out(monkeypatch, stage)
    with pytest.raises(Violated) as caught:
        case.provoke(stage)
    assert caught.value.invariant == case.rule.name, str(caught.value)
    assert case.words in caught.value.message


@pytest.mark.parametrize("case", CASES, ids=case_id)
def test_the_same_breaks_nothing_with_the_safeguard(case: Case) -> None:
    case.provoke(stage_for(case))
