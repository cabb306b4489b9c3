"""A short campaign, and every scenario that once broke something."""

import pickle
from concurrent.futures import Executor
from dataclasses import replace
from pathlib import Path

import pytest

from tests.campaign import operator
from tests.campaign.generate import generate
from tests.campaign.happenings import Happenings
from tests.campaign.invariants import ALWAYS
from tests.campaign.invariants.base import Invariant
from tests.campaign.judge import Violated
from tests.campaign.lanes import Lanes
from tests.campaign.play import play, play_seed
from tests.campaign.scenario import Scenario
from tests.campaign.stage import stage_of

REGRESSIONS = sorted((Path(__file__).parent / "regressions").glob("*.json"))
SHORT = range(1, 31)
PIECES = 20


@pytest.mark.parametrize("piece", range(PIECES))
def test_random_scenarios_break_no_invariant_and_a_play_succeeds_afterwards(
    piece: int, worker: Executor
) -> None:
    for seed, outcome in worker.map(play_seed, SHORT[piece::PIECES]):
        assert outcome.violation is None, f"SEED={seed}: {outcome.violation}"


def test_same_seed_gives_the_same_world() -> None:
    scenario = generate(3)
    first, again = play(scenario), play(scenario)
    assert first == again
    assert first.virtual_us > 0
    assert play(generate(4)) != first


def test_same_seed_has_the_same_told_to_people() -> None:
    told: list[str] = []

    class Told(Invariant):
        name = "told"

        def at_end(self) -> None:
            told.append("\n".join(note.message for lap in self.world.laptops for note in lap.notes))

    scenario = generate(6)  # a joint's own control holds the arm, and is named
    for _ in range(2):
        play(scenario, kinds=(*ALWAYS, Told))
    first, again = told
    assert "from the control of" in first
    assert first == again


def test_replay_with_a_picture_is_the_scenario_that_went_on_from_a_copy() -> None:
    scenario = generate(6)
    alone = (scenario.from_begin, scenario.capacities, scenario.real_bytes)
    assert not any(alone)
    assert play(scenario, Lanes()) == play(scenario)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_scenario_is_the_same_after_a_file(seed: int) -> None:
    scenario = generate(seed)
    assert Scenario.from_json(scenario.to_json()) == scenario


def test_picture_shows_every_joint_and_what_was_asked() -> None:
    lanes = Lanes()
    scenario = generate(2)
    play(scenario, lanes)
    picture = lanes.svg(scenario, "a title", 0, lanes.world.now)
    for joint in lanes.world.arm.joints:
        assert f">{joint.name}</text>" in picture
    assert "play @0" in picture
    assert ">moving</title>" in picture


def test_violation_comes_whole_out_of_a_worker_process() -> None:
    violated = pickle.loads(pickle.dumps(Violated("I3", "a sentence", 1_500_000)))
    assert str(violated) == "I3 at 1.500000 s: a sentence"
    assert violated.invariant == "I3"


def test_homing_that_takes_too_long_is_told_with_the_joint_that_is_being_homed(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(operator, "HOMING_US", 500_000)
    scenario = replace(generate(3), happenings=(), from_begin=True)
    stage = stage_of(scenario, ALWAYS)
    happenings = Happenings(scenario, stage.world, stage.judge)
    someone = operator.Operator(stage.world, happenings)
    assert stage.world.run_until(someone.all_there, operator.UP_US)
    told = someone.play_through(600_000)
    assert told is not None
    first = stage.world.arm.homing_order[0]
    assert f"the arm is not homed: {first} is being homed for more than 0.5 s" in told


@pytest.mark.parametrize("path", REGRESSIONS, ids=lambda path: path.stem)
def test_scenario_that_once_broke_something_does_no_more(path: Path, worker: Executor) -> None:
    outcome = worker.submit(play, Scenario.from_json(path.read_text())).result()
    assert outcome.violation is None, str(outcome.violation)
