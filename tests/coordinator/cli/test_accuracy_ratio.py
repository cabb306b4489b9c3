"""`unisono accuracy ratio`: gear and direction by what was read, and the step into the arm file."""

import json
from collections.abc import Callable
from io import StringIO
from pathlib import Path
from xml.etree import ElementTree

import pytest

from coordinator.cli.command import run as unisono
from coordinator.config.arm import load_arm
from tests.coordinator.cli.elbow import TEXT

TOLD = (0, 15, 30, 45, 60, 75, 90)
Typed = Callable[[float], Path]


@pytest.fixture
def typed(tmp_path: Path) -> Typed:
    """A table of a joint that turns by this share of what it is told, read to 0.1 degrees."""

    def write(share: float) -> Path:
        file = tmp_path / "elbow.csv"
        rows = [f"{one},{12 + share * one:.1f}" for one in TOLD]
        file.write_text("\n".join(["commanded_deg,read_deg", *rows]), encoding="utf-8")
        return file

    return write


def run(file: Path, arm: Path, *options: str | Path) -> int:
    words = ["accuracy", "ratio", file, "--joint", "elbow", "--arm", arm, *options]
    return unisono([str(word) for word in words])


def test_gear_that_agrees_is_told_with_its_uncertainty_and_nothing_is_written(
    typed: Typed, arm_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(typed(1.0), arm_file) == 0
    told = capsys.readouterr().out
    assert "elbow: turned by 1° for each degree, standard uncertainty 0.00036, from 7" in told
    assert "gear ratio 20, standard uncertainty 0.0073; the arm file has 20: they agree" in told
    assert "stays as it is" in told
    assert arm_file.read_text(encoding="utf-8") == TEXT


def test_another_gear_is_found_and_goes_into_the_arm_file_by_one_yes(
    typed: Typed, arm_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = typed(0.8)
    assert run(file, arm_file) == 2
    told = capsys.readouterr()
    assert "THEY DO NOT AGREE" in told.out
    assert "without one give --yes" in told.err
    assert arm_file.read_text(encoding="utf-8") == TEXT

    assert run(file, arm_file, "--yes") == 0
    told = capsys.readouterr()
    assert "-gear_ratio = 20.0" in told.err
    assert "+gear_ratio = 25.0" in told.err
    assert "bring it up anew" in told.err
    assert load_arm(arm_file).joint("elbow").gear_ratio == 25.0
    assert load_arm(arm_file).joint("elbow").direction == 1


@pytest.mark.parametrize("options", [("--yes",), ("--yes", "--json"), ()])
def test_direction_is_never_changed_without_a_question_of_its_own(
    typed: Typed, arm_file: Path, options: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(typed(-1.0), arm_file, *options) == 0
    told = capsys.readouterr()
    assert "wrong only if your scale rises as the joint's angles are to rise" in told.err
    if "--json" in options:
        assert "read to turn the other way" in json.loads(told.out)["remarks"][0]
    assert arm_file.read_text(encoding="utf-8") == TEXT


def test_gear_of_a_joint_that_is_read_the_other_way_is_written_without_its_direction(
    typed: Typed, arm_file: Path
) -> None:
    assert run(typed(-0.8), arm_file, "--yes") == 0
    elbow = load_arm(arm_file).joint("elbow")
    assert (elbow.direction, elbow.gear_ratio) == (1, 25.0)


class Terminal(StringIO):
    """Whoever sits there types this."""

    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize(("typed_there", "direction"), [("yes\nyes\n", -1), ("no\n", 1)])
def test_direction_is_changed_by_whoever_says_that_the_scale_is_held_the_right_way(
    typed: Typed,
    arm_file: Path,
    typed_there: str,
    direction: int,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setattr("sys.stdin", Terminal(typed_there))
    assert run(typed(-1.0), arm_file) == 0
    told = capsys.readouterr()
    assert "it TURNED THE OTHER WAY than it was told" in told.out
    assert "Does your scale rise as the angles of elbow are to rise?" in told.err
    elbow = load_arm(arm_file).joint("elbow")
    assert (elbow.direction, elbow.gear_ratio) == (direction, 20.0)


def test_small_difference_is_told_to_be_the_scale_s_more_likely(
    typed: Typed, arm_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(typed(0.97), arm_file, "--yes") == 0
    assert "a scale whose middle is off the joint's axis" in capsys.readouterr().err


def test_json_has_every_figure_and_the_picture_every_reading(
    typed: Typed, arm_file: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    picture = tmp_path / "elbow.svg"
    assert run(typed(0.8), arm_file, "--yes", "--json", "--plot", picture) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["measured_ratio"] == pytest.approx(25.0, abs=0.05)
    assert (told["count"], told["told_ratio"], told["agrees"]) == (7, 20.0, False)
    assert (told["gear_ratio"], told["written"]) == (25.0, True)
    drawn = ElementTree.fromstring(picture.read_text(encoding="utf-8"))
    tips = [one.text or "" for one in drawn.iter("{http://www.w3.org/2000/svg}title")]
    assert len([tip for tip in tips if "from the line" in tip]) == 7


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("commanded_deg,read_deg\n0,0\n10,10\n90,90\n", "3 readings where 6 are needed"),
        ("commanded_deg,read_mm\n0,0\n", "must have commanded_deg and read_UNIT"),
        ("commanded_deg\n0\n", "must have commanded_deg and read_UNIT"),
        ("", "there is nothing in it"),
        ("commanded_deg,read_deg\n0,far\n", "read_deg is 'far', not a number"),
        ("commanded_deg,read_deg\n0,99999\n", "an angle is at most 3600 deg"),
        (
            "commanded_deg,read_arcmin\n" + "".join(f"{one},{one}\n" for one in TOLD),
            "Is the unit of the head right?",
        ),
    ],
)
def test_readings_that_tell_no_gear_are_refused_and_nothing_is_written(
    tmp_path: Path, arm_file: Path, text: str, why: str, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "elbow.csv"
    file.write_text(text, encoding="utf-8")
    assert run(file, arm_file, "--yes") == 2
    told = capsys.readouterr()
    assert why in told.err
    assert str(file) in told.err
    assert told.out == ""
    assert arm_file.read_text(encoding="utf-8") == TEXT


def test_gear_that_the_arm_file_cannot_have_is_refused_whole(
    typed: Typed, arm_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    # 60 deg/s of 100:1 with 1/256 microsteps are beyond the 250 kHz of the driver.
    text = TEXT.replace("microsteps = 16", "microsteps = 256")
    arm_file.write_text(text, encoding="utf-8")
    assert run(typed(0.2), arm_file, "--yes") == 2
    assert "velocity_deg_s" in capsys.readouterr().err
    assert arm_file.read_text(encoding="utf-8") == text
