"""`unisono accuracy speed`: what is asked first, how the search ends, what is told and written."""

import json
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest

from coordinator.cli.command import run as unisono
from coordinator.config.arm import load_arm
from tests.coordinator.cli.elbow import TEXT, ElbowAlone

CYCLE_DEG = 4 * 360.0 / (200 * 20)
"""Four full steps of 1.8 degrees over a gear of 20."""


class Coordinator(ElbowAlone):
    """One whose elbow loses four full steps on each way out or back that is faster than this."""

    def __init__(self) -> None:
        super().__init__()
        self.slips_above = 50.0
        self.only_back = False
        """Whether it follows on the way out."""
        self.by_fault = False
        self.loses_deg = CYCLE_DEG
        self.tells_sensor = True
        self.steps: list[tuple[float, float]] = []
        self._lost = 0.0

    def turned(self, asked: dict[str, Any]) -> None:
        self.steps.append((asked["by_deg"], asked["speed_deg_s"]))
        if asked["speed_deg_s"] > self.slips_above:
            self._lost += self.loses_deg * (not self.only_back or asked["by_deg"] < 0)

    def found(self) -> dict[str, Any]:
        lost, self._lost = self._lost, 0.0
        return {"shift_deg": -lost}

    def on_sensor(self) -> bool | None:
        return abs(self._lost) < 2.0 if self.tells_sensor else None

    def elbow(self) -> dict[str, Any]:
        return {"faults": ("steps-lost",) if self.by_fault and self._lost else ()}


@pytest.fixture(name="coordinator")
def coordinator_of_the_elbow() -> Coordinator:
    return Coordinator()


def run(url: str, *options: str | Path) -> int:
    words = ["accuracy", "speed", "elbow", "--repeats", "1", "--url", url, *map(str, options)]
    return unisono(words)


def test_search_ends_at_the_first_lost_step_and_tells_between_which_speeds_it_was(
    coordinator: Coordinator, url: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(url, "--yes") == 0
    told = capsys.readouterr()
    # 40, 46 and 52.9 deg/s, by a factor of 1.15 from the homing's (computed).
    assert (
        "elbow: no step lost up to 46°/s, in 5 ways; at 52.9°/s home was found -0.36°" in told.out
    )
    assert "standard uncertainty 2°/s. A limit of 36.8°/s is 20 % below the slower one" in told.out
    assert "elbow lost steps: look at it, then home it" in told.out
    assert "where these are worse, steps are lost at lower speeds" in told.err
    assert "Caution: moving joints pinch" in told.out
    assert max(speed for _, speed in coordinator.steps) == pytest.approx(52.9)


def test_each_way_is_followed_by_a_look_at_the_home_edge(
    coordinator: Coordinator, url: str
) -> None:
    assert run(url, "--yes", "--to", "40") == 0
    # Out fast; out slowly and back fast. One homing before, and one after each.
    assert [round(by) > 0 for by, _ in coordinator.steps] == [True, True, False]
    assert coordinator.homed == 3


def test_steps_that_are_lost_on_the_way_back_alone_are_found_too(
    coordinator: Coordinator, url: str, capsys: pytest.CaptureFixture[str]
) -> None:
    coordinator.only_back = True
    assert run(url, "--yes", "--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert told["lost_at"] == pytest.approx(52.9)
    assert told["tried"][-1]["ways"] == 2


def test_joint_that_stops_at_its_edge_for_lost_steps_ends_the_search(
    coordinator: Coordinator, url: str, capsys: pytest.CaptureFixture[str]
) -> None:
    coordinator.by_fault = True
    assert run(url, "--yes") == 0
    told = capsys.readouterr().out
    assert "at 52.9°/s its home edge came where none should be" in told
    assert "elbow LOST STEPS AND WAS NOT HOMED SINCE" in told


def test_where_no_step_is_lost_no_limit_is_proposed_and_nothing_is_written(
    coordinator: Coordinator, url: str, arm_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    coordinator.slips_above = 1e9
    assert run(url, "--yes", "--arm", arm_file) == 0
    assert "where steps begin to be lost is not known" in capsys.readouterr().out
    assert arm_file.read_text(encoding="utf-8") == TEXT


def test_steps_that_are_lost_at_the_slowest_speed_leave_no_figure(
    coordinator: Coordinator, url: str, arm_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    coordinator.slips_above = 1.0
    assert run(url, "--yes", "--arm", arm_file) == 1
    told = capsys.readouterr()
    assert "steps were lost at 40°/s, the slowest that was tried" in told.err
    assert arm_file.read_text(encoding="utf-8") == TEXT


def test_limit_goes_into_the_arm_file_by_one_yes(
    url: str, arm_file: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    picture = tmp_path / "elbow.svg"
    assert run(url, "--from", "50", "--yes", "--arm", arm_file, "--plot", picture) == 0
    assert "+velocity_deg_s = 40.0" in capsys.readouterr().err
    assert load_arm(arm_file).joint("elbow").velocity_deg_s == 40.0
    drawn = ElementTree.fromstring(picture.read_text(encoding="utf-8"))
    tips = [one.text or "" for one in drawn.iter("{http://www.w3.org/2000/svg}title")]
    assert [tip for tip in tips if "home was found" in tip] == [
        "57.5°/s, 1 ways: home was found -0.36° from where it was"
    ]


def test_limit_below_the_speed_of_homing_is_told_and_not_written(
    url: str, arm_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(url, "--yes", "--arm", arm_file) == 2
    told = capsys.readouterr()
    assert "A limit of 36.8°/s" in told.out
    assert "Make homing.fast_deg_s smaller in the arm file first" in told.err
    assert arm_file.read_text(encoding="utf-8") == TEXT


@pytest.mark.parametrize(
    ("options", "why"),
    [
        (["--yes", "--to", "70"], "raise velocity_deg_s there to search further"),
        (["--yes", "--from", "55", "--to", "50"], "there is no speed to be tried"),
        ([], "a search that goes on until steps are lost asks for a yes"),
    ],
)
def test_what_cannot_be_searched_moves_nothing(
    coordinator: Coordinator,
    url: str,
    options: list[str],
    why: str,
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run(url, *options) == 2
    assert why in capsys.readouterr().err
    assert (coordinator.steps, coordinator.homed) == ([], 0)


def test_joint_whose_angle_is_not_known_is_not_moved(
    coordinator: Coordinator, url: str, capsys: pytest.CaptureFixture[str]
) -> None:
    coordinator.is_homed = False
    assert run(url, "--yes") == 3
    assert "home it first" in capsys.readouterr().err
    assert (coordinator.steps, coordinator.homed) == ([], 0)


def ended_in(
    coordinator: Coordinator, url: str, step: int, capsys: pytest.CaptureFixture[str]
) -> str:
    """What is told of a search that ends in this step, which moves nothing behind it and says
    nothing of steps that were not lost.
    """
    assert run(url, "--yes") == 1
    told = capsys.readouterr()
    assert "no step lost up to" not in told.out
    assert (coordinator.stepped, coordinator.homed) == (step, 1 + step // 2)
    return told.err


@pytest.mark.parametrize("step", [1, 2, 3])
def test_stop_by_anybody_else_is_not_undone_by_a_homing_or_another_step(
    coordinator: Coordinator, url: str, step: int, capsys: pytest.CaptureFixture[str]
) -> None:
    coordinator.stopped_in = step
    told = ended_in(coordinator, url, step, capsys)
    assert "elbow is stopped, so this test moves nothing more (stopped: stopped by the" in told
    assert coordinator.is_stopped


def test_stop_that_came_before_a_homing_is_not_undone_by_it(
    coordinator: Coordinator, url: str, capsys: pytest.CaptureFixture[str]
) -> None:
    coordinator.is_stopped = True
    assert run(url, "--yes") == 1
    assert "unisono home elbow" in capsys.readouterr().err
    assert (coordinator.stepped, coordinator.homed) == (0, 0)


@pytest.mark.parametrize("step", [1, 2, 3])
def test_way_that_somebody_else_held_is_not_one_on_which_no_step_was_lost(
    coordinator: Coordinator, url: str, step: int, capsys: pytest.CaptureFixture[str]
) -> None:
    coordinator.held_in = step
    told = ended_in(coordinator, url, step, capsys)
    assert "elbow was not turned to the end: it was to be at" in told


def test_joint_that_does_not_come_back_onto_its_sensor_is_not_homed_further_away(
    coordinator: Coordinator, url: str, capsys: pytest.CaptureFixture[str]
) -> None:
    coordinator.only_back, coordinator.loses_deg = True, 20.0
    assert run(url, "--yes") == 0
    told = capsys.readouterr().out
    assert "at 52.9°/s it came back, and not onto its home sensor" in told
    assert "Homing searches towards smaller angles by its count, for up to 340°" in told
    # One before the first, one after each way but the last.
    assert coordinator.homed == len([by for by, _ in coordinator.steps if by > 0])


@pytest.mark.parametrize(("search", "code"), [("1", 2), ("-1", 0)])
def test_joint_that_tells_nothing_of_its_sensor_is_searched_only_where_homing_turns_it_back(
    coordinator: Coordinator,
    url: str,
    search: str,
    code: int,
    capsys: pytest.CaptureFixture[str],
) -> None:
    coordinator.tells_sensor = False
    coordinator.text = TEXT.replace(
        "homing = { direction = -1", f"homing = {{ direction = {search}"
    )
    assert run(url, "--yes", "--to", "40") == code
    is_refused = "does not tell whether it stands on its home sensor" in capsys.readouterr().err
    assert is_refused is bool(code)
    assert bool(coordinator.steps) is not bool(code)


@pytest.mark.parametrize(
    ("old", "new", "key"),
    [
        ("acceleration_deg_s2 = 120.0", "acceleration_deg_s2 = 600.0", "acceleration_deg_s2"),
        ("velocity_deg_s = 60.0", "velocity_deg_s = 90.0", "velocity_deg_s"),
        ("range_deg = [-170, 170]", "range_deg = [-170, 100]", "range_deg"),
    ],
)
def test_file_by_which_the_coordinator_does_not_move_the_joint_is_refused(
    coordinator: Coordinator,
    url: str,
    arm_file: Path,
    old: str,
    new: str,
    key: str,
    capsys: pytest.CaptureFixture[str],
) -> None:
    arm_file.write_text(TEXT.replace(old, new), encoding="utf-8")
    assert run(url, "--yes", "--arm", arm_file) == 2
    assert f"elbow has another {key} in" in capsys.readouterr().err
    assert (coordinator.stepped, coordinator.homed) == (0, 0)
