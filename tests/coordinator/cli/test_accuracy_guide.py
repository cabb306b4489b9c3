"""`unisono accuracy guide`: to each angle, what is read there, broken off and gone on with."""

import json
import sys
from collections.abc import Mapping
from io import StringIO
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest

from coordinator.cli import guide
from coordinator.cli.command import run as unisono
from coordinator.cli.common import ExitCode, Failure
from coordinator.config.arm import load_arm
from tests.coordinator.cli.elbow import JSON, TEXT
from tests.coordinator.cli.servers import ARM, Answer, joint

TEST = ("reversal", "elbow", "--at", "0", "--at", "45")


class Coordinator:
    """One whose elbow is where somebody held the key for, or beside it once."""

    def __init__(self) -> None:
        self.at_deg = 0.0
        self.beside_deg = 0.0

    def __call__(self, path: str, _body: bytes) -> Answer:
        where = urlsplit(path).path.removeprefix("/api/v1")
        if where == "/arm/file":
            return 200, {"Content-Type": "text/plain; charset=utf-8"}, TEXT.encode()
        at_deg, self.beside_deg = self.at_deg + self.beside_deg, 0.0
        arm = ARM | {"joints": [joint("elbow", homed=True, position_deg=at_deg)]}
        return 200, JSON, json.dumps(arm).encode()


@pytest.fixture(name="coordinator")
def coordinator_of_the_elbow() -> Coordinator:
    return Coordinator()


class Person:
    """Holds the key as long as it takes, and reads a gauge at an elbow with this play."""

    def __init__(self, coordinator: Coordinator, play_deg: float = 0.2) -> None:
        self._coordinator = coordinator
        self.went: list[float] = []
        self.leaves_after: int | None = None
        self._play_deg = play_deg

    def goes(
        self, _url: str, _title: str, place: Mapping[str, Any], angles_deg: Mapping[str, float]
    ) -> None:
        if len(self.went) == self.leaves_after:
            raise Failure(ExitCode.NOT_FINISHED, "left before the arm was there: it is let go")
        assert place == {"angles_deg": angles_deg}
        self.went.append(angles_deg["elbow"])
        self._coordinator.at_deg = angles_deg["elbow"]

    def isatty(self) -> bool:
        return False

    def readline(self) -> str:
        before, at = self.went[-2:]
        return f"{self._play_deg / 2 * (-1 if before < at else 1):.3f}\n"


@pytest.fixture
def person(coordinator: Coordinator, monkeypatch: pytest.MonkeyPatch) -> Person:
    somebody = Person(coordinator)
    monkeypatch.setattr(guide, "go_while_held", somebody.goes)
    monkeypatch.setattr(guide, "_require_terminal", lambda: None)
    monkeypatch.setattr(sys, "stdin", somebody)
    return somebody


def run(url: str, file: Path, *options: str | Path) -> int:
    test, elbow, *rest = [*TEST, *map(str, options)]
    return unisono(["accuracy", "guide", test, elbow, str(file), "--url", url, *rest])


def test_it_leads_to_each_angle_from_its_side_and_tells_the_figure(
    url: str, person: Person, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "elbow.csv"
    assert run(url, file) == 0
    told = capsys.readouterr()
    assert person.went[:8] == [-5.0, 0.0, 40.0, 45.0, 50.0, 45.0, 5.0, 0.0]
    assert len(person.went) == 2 * 20
    assert "reading 20 of 20: 0° from above" in told.err
    assert "reversal value -0.2000°" in told.out
    lines = file.read_text(encoding="utf-8").splitlines()
    assert lines[0] == "# reversal of elbow at 0 45 deg"
    assert lines[1:4] == ["target_deg,from,deviation_deg", "0,below,-0.100", "45,below,-0.100"]
    assert len(lines) == 22


def test_what_is_broken_off_goes_on_where_it_was(
    url: str, person: Person, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "elbow.csv"
    person.leaves_after = 15
    assert run(url, file) == 1
    assert "left before the arm was there" in capsys.readouterr().err
    assert len(file.read_text(encoding="utf-8").splitlines()) == 2 + 7

    person.leaves_after, person.went = None, []
    assert run(url, file) == 0
    told = capsys.readouterr()
    assert f"{file} has 7 of 20 readings: it goes on there" in told.err
    assert len(person.went) == 2 * 13
    assert "reversal value -0.2000°" in told.out

    person.went = []
    assert run(url, file) == 0
    assert person.went == []


def test_target_beside_which_the_key_was_let_go_is_gone_to_once_more(
    url: str,
    person: Person,
    coordinator: Coordinator,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    goes = person.goes

    def lets_go_too_soon(*arguments: Any) -> None:
        goes(*arguments)
        coordinator.beside_deg = 0.009 if len(person.went) == 2 else 0.0

    monkeypatch.setattr(guide, "go_while_held", lets_go_too_soon)
    person.leaves_after = 5
    assert run(url, tmp_path / "elbow.csv") == 1
    assert "elbow rests at 0.0090°, beside its target: once more" in capsys.readouterr().err
    assert person.went == [-5.0, 0.0, -5.0, 0.0, 40.0]


def test_q_breaks_off_and_says_how_to_go_on(
    url: str,
    person: Person,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setattr(sys, "stdin", StringIO("0.1\nq\n"))
    assert run(url, tmp_path / "elbow.csv") == 1
    told = capsys.readouterr().err
    assert "broken off with 1 of 20 readings" in told
    assert "the same command goes on" in told


@pytest.mark.parametrize(
    ("typed", "why"),
    [
        ("0,1", "'0,1' is no number, with a point before its decimals"),
        ("nan", "'nan' is no number"),
        ("", "'' is no number"),
        ("ggg25", "'25' is more than the 10 that can be: is it in deg?"),
    ],
)
def test_reading_that_cannot_be_is_asked_for_again(
    url: str,
    person: Person,
    tmp_path: Path,
    typed: str,
    why: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    file = tmp_path / "elbow.csv"
    monkeypatch.setattr(sys, "stdin", StringIO(f"{typed}\n0.1\n"))
    assert run(url, file) == 1
    assert why in capsys.readouterr().err
    assert file.read_text(encoding="utf-8").splitlines()[2:] == ["0,below,0.1"]


def test_its_figure_goes_into_the_arm_file_by_one_typed_yes(
    url: str, person: Person, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    arm_file = tmp_path / "arm.toml"
    arm_file.write_text(TEXT, encoding="utf-8")
    file = tmp_path / "elbow.csv"
    assert run(url, file, "--arm", arm_file) == 2
    assert arm_file.read_text(encoding="utf-8") == TEXT
    typed = StringIO("yes\n")
    monkeypatch.setattr(typed, "isatty", lambda: True)
    monkeypatch.setattr(sys, "stdin", typed)
    assert run(url, file, "--arm", arm_file) == 0
    assert load_arm(arm_file).joint("elbow").reversal_error_deg == 0.2


@pytest.mark.parametrize(
    ("options", "why"),
    [
        (["--unit", "um"], "--radius-mm must say how far from the axis that is read"),
        (["--radius-mm", "50"], "--radius-mm is for a reversal value that is read in mm or um"),
        (["--unit", "inch"], "the unit is 'inch', not one of"),
        (["--at", "169"], "169° from above is come to from 174°"),
        (["--repeats", "3"], "3 readings from each side where 5 are needed"),
        (["--plot", "x.png"], "must end in .svg"),
    ],
)
def test_what_would_come_to_no_figure_moves_nothing(
    url: str,
    person: Person,
    tmp_path: Path,
    options: list[str],
    why: str,
    capsys: pytest.CaptureFixture[str],
) -> None:
    file = tmp_path / "elbow.csv"
    assert run(url, file, *options) == 2
    assert why in capsys.readouterr().err
    assert person.went == []
    assert not file.exists()


def test_table_of_something_else_is_left_alone(
    url: str, person: Person, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "elbow.csv"
    file.write_text("target_deg,from,deviation_deg\n30,below,0.1\n", encoding="utf-8")
    assert run(url, file) == 2
    assert "line 2 is of 30 from below, where 0 from below comes" in capsys.readouterr().err
    assert person.went == []
    assert "30,below" in file.read_text(encoding="utf-8")


SAVED = """"# reversal of elbow at 0 45 deg";;
target_deg;from;deviation_deg
0;below;-0,100
45;below;-0,1
"""


def test_table_that_a_spreadsheet_saved_its_own_way_is_gone_on_with_whole(
    url: str, person: Person, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "elbow.csv"
    file.write_text(SAVED, encoding="utf-8")
    assert run(url, file) == 0
    told = capsys.readouterr()
    assert "has 2 of 20 readings: it goes on there" in told.err
    assert "reversal value -0.2000°" in told.out
    lines = file.read_text(encoding="utf-8").splitlines()
    assert lines[1:4] == ["target_deg,from,deviation_deg", "0,below,-0.100", "45,below,-0.1"]


@pytest.mark.parametrize(
    ("old", "new", "why"),
    [
        ("-0,1\n", "0,1 or so\n", "deviation_deg is '0,1 or so', not a number"),
        ("-0,1\n", "-11\n", "deviation_deg is -11, which is -11 deg"),
        ("elbow", "wrist", "it is of 'reversal of wrist at 0 45 deg', not of"),
        ('"# reversal of elbow at 0 45 deg";;\n', "", "it does not say of what it is"),
    ],
)
def test_table_of_which_no_figure_could_come_is_told_before_anything_moves_and_stays(
    url: str,
    person: Person,
    tmp_path: Path,
    old: str,
    new: str,
    why: str,
    capsys: pytest.CaptureFixture[str],
) -> None:
    file = tmp_path / "elbow.csv"
    file.write_text(SAVED.replace(old, new), encoding="utf-8")
    assert run(url, file) == 2
    assert why in capsys.readouterr().err
    assert person.went == []
    assert file.read_text(encoding="utf-8") == SAVED.replace(old, new)


def test_without_a_terminal_it_says_what_it_needs(
    url: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(url, tmp_path / "elbow.csv") == 2
    assert "that needs a terminal for input and output" in capsys.readouterr().err
