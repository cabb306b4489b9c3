"""What tests of rules share: two homed joints, a play, and which rule is broken."""

import pytest

from coordinator.core.run import Phase
from coordinator.rehearsal.world import World
from protocol.constants import US
from tests.campaign.happenings import Happenings
from tests.campaign.judge import Violated
from tests.campaign.scenario import Scenario
from tests.campaign.stage import Stage

PROGRAM = ("G90 G94", "G1 A30 F600", "G1 A-30 F600", "M2")
SCENARIO = Scenario(1, 2, 3, "quiet", PROGRAM, happenings=())


def begin_play(stage: Stage, scenario: Scenario = SCENARIO) -> None:
    """Have the program accepted."""
    assert Happenings(scenario, stage.world, stage.judge).play()


def play(stage: Stage) -> None:
    """Be in mid-move."""
    begin_play(stage)
    assert stage.world.run_until(lambda: phase(stage.world) is Phase.MOVING, 10 * US)
    stage.world.run_for(US // 2)


def phase(world: World) -> Phase:
    """Of the run."""
    assert world.core.run is not None
    return world.core.run.phase


def broken_rule(stage: Stage, for_us: int = 3 * US) -> str:
    """The rule that is broken within this time; fails where none is."""
    with pytest.raises(Violated) as caught:
        stage.world.run_for(for_us)
    return caught.value.invariant
