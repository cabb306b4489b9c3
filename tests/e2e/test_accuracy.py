"""Guided tests of accuracy on software joints, from real sockets to the arm file."""

import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from coordinator.client import Client
from coordinator.config.arm import load_arm
from tests.e2e.harness import Bench, bench, until


def with_elbow(arm: Bench, *changes: tuple[str, str]) -> Path:
    """An arm file that differs in the elbow: what the joint is in truth, and nobody knows."""
    text = arm.arm.read_text(encoding="utf-8")
    before, mark, elbow = text.partition('name = "elbow"\n')
    for old, new in changes:
        assert old in elbow
        elbow = elbow.replace(old, new, 1)
    truth = arm.folder / "truth.toml"
    truth.write_text(before + mark + elbow, encoding="utf-8")
    return truth


def test_play_is_found_by_the_home_edges_where_there_is_no_gauge(tmp_path: Path) -> None:
    play_deg = 0.3
    with bench(tmp_path) as arm:
        arm.simulate(
            arm=with_elbow(
                arm, ("direction = 1\n", f"direction = 1\nreversal_error_deg = {play_deg}\n")
            )
        )
        arm.serve()
        arm.until_linked()
        arm.home()
        picture = tmp_path / "elbow.svg"
        found = arm.ask(
            "accuracy", "edges", "elbow", "--home", "5", "--arm", str(arm.arm), "--yes",
            "--plot", str(picture),
        )  # fmt: skip
        assert found["count"] == 5
        assert found["mean"] == pytest.approx(play_deg, abs=0.002)
        assert found["bound"] >= play_deg - 0.001
        assert found["written"] is True
        assert load_arm(arm.arm).joint("elbow").reversal_error_deg == found["reversal_error_deg"]
        assert ET.fromstring(picture.read_text()).tag.endswith("svg")
        assert arm.holder() is None


ENDLESS = (
    ("range_deg = [-170, 170]", 'range_deg = "continuous"'),
    ("velocity_deg_s = 60.0", "velocity_deg_s = 180.0"),
    ("acceleration_deg_s2 = 120.0", "acceleration_deg_s2 = 1800.0"),
    ("jerk_deg_s3 = 600", "jerk_deg_s3 = 36000"),
    ("travel_deg = 340, fast_deg_s = 40", "travel_deg = 720, fast_deg_s = 180"),
)
"""The elbow turns without end, and so quickly that nobody waits long."""


@pytest.mark.parametrize("true_ratio", [20.0, 25.0, 16.5])
def test_gear_of_a_joint_that_was_swapped_is_found_by_whole_turns(
    tmp_path: Path, true_ratio: float
) -> None:
    with bench(tmp_path) as arm:
        gear = ("gear_ratio = 20.0", f"gear_ratio = {true_ratio}")
        with_elbow(arm, *ENDLESS).rename(arm.arm)
        arm.simulate(arm=with_elbow(arm, gear))
        arm.serve()
        arm.until_linked()
        arm.home()
        before = arm.arm.read_text(encoding="utf-8")
        picture = tmp_path / "elbow.svg"
        found = arm.ask(
            "accuracy", "turn", "elbow", "--turns", "3", "--arm", str(arm.arm), "--yes",
            "--plot", str(picture),
        )  # fmt: skip
        assert found["measured_ratio"] == pytest.approx(true_ratio, abs=0.005)
        assert found["count"] == 3
        assert ET.fromstring(picture.read_text()).tag.endswith("svg")
        assert found["agrees"] is (true_ratio == 20.0), found
        assert load_arm(arm.arm).joint("elbow").gear_ratio == pytest.approx(true_ratio, abs=0.005)
        assert (arm.arm.read_text(encoding="utf-8") == before) is (true_ratio == 20.0)
        assert arm.holder() is None


def test_speed_above_which_steps_are_lost_is_found_and_stays_below(tmp_path: Path) -> None:
    hidden_deg_s = 70.0
    quick = ENDLESS[1:4]
    with bench(tmp_path) as arm:
        with_elbow(arm, *quick).rename(arm.arm)
        arm.simulate(slips=[f"elbow={hidden_deg_s}"])
        arm.serve()
        arm.until_linked()
        arm.home()
        picture = tmp_path / "elbow.svg"
        found = arm.ask(
            "accuracy", "speed", "elbow", "--from", "50", "--repeats", "1", "--arm", str(arm.arm),
            "--yes", "--plot", str(picture),
        )  # fmt: skip
        assert found["highest"] < hidden_deg_s < found["lost_at"]
        assert found["uncertainty"] == pytest.approx(
            (found["lost_at"] - found["highest"]) / 12**0.5
        )
        assert [bool(one["lost"]) for one in found["tried"]][-2:] == [False, True]
        assert load_arm(arm.arm).joint("elbow").velocity_deg_s == found["limit"]
        assert found["limit"] <= 0.8 * found["highest"] + 1e-6
        assert ET.fromstring(picture.read_text()).tag.endswith("svg")


@pytest.mark.parametrize(
    ("ended_by", "told", "word"),
    [
        ("stop", "elbow is stopped, so this test moves nothing more", "stopped"),
        ("hold", "elbow was not turned to the end: it was to be at", "at rest"),
    ],
)
def test_what_somebody_else_stops_or_holds_is_neither_homed_nor_turned_on(
    tmp_path: Path, ended_by: str, told: str, word: str
) -> None:
    """What homes or turns a joint next would clear the stop."""
    with bench(tmp_path) as arm:
        arm.simulate()
        arm.serve()
        arm.until_linked()
        arm.home()
        words = ["accuracy", "speed", "elbow", "--to", "46", "--yes", "--url", arm.url]
        command = [sys.executable, "-m", "coordinator.cli", *words]
        with (
            Client(arm.url) as other,
            subprocess.Popen(command, stderr=subprocess.PIPE, text=True) as search,
        ):
            until(lambda: arm.states()["elbow"]["state"] == "jogging", "it turns")
            homing = other.arm().homing
            other.stop("stop") if ended_by == "stop" else other.hold()
            _, errors = search.communicate()
            after = other.arm()
        assert search.returncode == 1
        assert told in errors
        assert after.homing == homing
        assert after.condition.word == word
        assert arm.holder() is None
