"""A failure is told by its seed, the smallest scenario that still shows it, and a picture."""

import io
import os
import re
from collections import Counter
from pathlib import Path
from xml.etree import ElementTree

import pytest
from rich.console import Console

from coordinator.workers.processes import process_pool
from tests.campaign import __main__ as campaign
from tests.campaign import shrink as shrinking
from tests.campaign.invariants.i11_command import OnlyByCommand
from tests.campaign.judge import Violated
from tests.campaign.lanes import SVG, Lanes
from tests.campaign.play import Outcome, play
from tests.campaign.scenario import Happening, Scenario
from tests.campaign.shrink import BUDGET, shrink

REBOOT = Happening(700, "reboot", (1,), 500)
SCENARIO = Scenario(
    seed=77,
    joints=4,
    arm_seed=3,
    profile="busy",
    program=("G90 G94", "G0 A1.5", "G0 A-1.5 D5", "G1 B10 C-10 F1200", "G4 P0.5", "G0 A0", "M2"),
    happenings=(
        Happening(100, "crash", for_ms=200),
        Happening(300, "outage", (3,), 500),
        REBOOT,
        Happening(900, "stop", amount=1),
    ),
    capacities=(40, 40, 64, 24),
    real_bytes=True,
)


class Plays:
    """In place of the judged play: a reboot breaks one rule; without one, a stop breaks another."""

    def __init__(self) -> None:
        self.played: list[Scenario] = []

    def __call__(self, scenario: Scenario, lanes: Lanes | None = None) -> Outcome:
        self.played.append(scenario)
        if lanes is None:
            outcome = Outcome(None, Counter(), Counter(), Counter(), 0)
        else:
            # What is drawn must have happened.
            outcome = play(scenario, lanes, (OnlyByCommand,), liveness=False)
        what = {one.what for one in scenario.happenings}
        if "reboot" in what:
            outcome.violation = Violated("I2", f"{scenario.joints} joints", 1_000_000)
        elif "stop" in what:
            outcome.violation = Violated("I11", "another", 1_000_000)
        return outcome


@pytest.fixture
def plays(monkeypatch: pytest.MonkeyPatch) -> Plays:
    """Judges in place of the real play."""
    made = Plays()
    monkeypatch.setattr(shrinking, "play", made)
    monkeypatch.setattr(campaign, "play", made)
    return made


def test_shrinking_leaves_only_what_breaks_the_rule(plays: Plays) -> None:
    small, outcome = shrink(SCENARIO, "I2")
    # Without the reboot another rule is broken, by the stop: that is not the same failure.
    assert small.happenings == (REBOOT,)
    # The reboot needs the second joint; nothing else is needed.
    assert (small.joints, small.profile, small.real_bytes) == (2, "none", False)
    assert (small.capacities, len(small.program)) == ((), 4)
    assert small.program[0] == SCENARIO.program[0]
    assert not any("C" in line or "D" in line for line in small.program)
    assert (small.seed, small.arm_seed) == (SCENARIO.seed, SCENARIO.arm_seed)
    assert outcome.violation is not None
    assert outcome.violation.message == "2 joints"
    assert len(plays.played) <= BUDGET + 1


def test_a_failure_is_told_with_seed_scenario_and_picture(
    plays: Plays, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    told = io.StringIO()
    monkeypatch.setattr(campaign, "console", Console(file=told, width=400))
    monkeypatch.setattr(campaign, "PICTURES", tmp_path)
    made = {(SCENARIO.seed, "python"): SCENARIO}
    monkeypatch.setattr(campaign, "scenario_of", lambda *asked: made[asked])
    campaign.explain(SCENARIO.seed, "I2 at 1.000000 s: 4 joints")
    text = told.getvalue()
    assert f"SEED={SCENARIO.seed} I2 at 1.000000 s: 4 joints" in text
    assert "shrunk, I2 at 1.000000 s: 2 joints" in text
    shrunk = Scenario.from_json(text[text.index("{") :])
    assert shrunk.happenings == (REBOOT,)
    named = re.search(r"picture in (\S+\.svg)", text)
    assert named is not None
    drawn = ElementTree.parse(named[1]).getroot()
    assert drawn.tag == f"{{{SVG}}}svg"
    words = "".join(drawn.itertext())
    assert all(name in words for name in ("j1", "j2", "play @0", "I2 at 1.000000 s"))
    assert "j3" not in words
    assert Path(named[1]).parent == tmp_path


@pytest.fixture(name="told")
def what_is_told(monkeypatch: pytest.MonkeyPatch) -> io.StringIO:
    told = io.StringIO()
    monkeypatch.setattr(campaign, "console", Console(file=told, width=400))
    return told


@pytest.mark.parametrize(
    ("joints_in", "again"),
    [
        ("python", "SEED=7 make campaign"),
        ("c", "SEED=7 JOINTS=c make campaign"),
        ("mixed", "SEED=7 JOINTS=mixed make campaign"),
    ],
)
def test_crash_is_told_with_all_that_plays_it_again(
    told: io.StringIO, joints_in: str, again: str
) -> None:
    campaign.explain(7, "crash at 0.000000 s: KeyError: 3", joints_in)
    assert f"{again} shows where it was raised" in told.getvalue()


def dies_of_5(seed: int, joints_in: str) -> tuple[int, Outcome]:
    """In place of `play_seed`: one scenario takes its process with it, as C may."""
    assert joints_in == "c"
    if seed == 5:
        os.abort()
    return seed, Outcome(None, Counter(), Counter(), Counter(), 1)


def test_scenario_that_ends_its_process_is_found_and_told(
    told: io.StringIO, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(campaign, "play_seed", dies_of_5)
    with process_pool(2) as executor:
        totals = campaign.run_all(range(3, 9), executor, "c")
    assert [seed for seed, _ in totals.failures] == [5]
    assert "SEED=5 JOINTS=c crash at 0.000000 s: the process that played it died" in told.getvalue()
