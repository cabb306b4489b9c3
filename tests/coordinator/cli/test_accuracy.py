"""`unisono accuracy`: figures, pictures, JSON, and the one step into the arm file."""

import json
import sys
from io import StringIO
from pathlib import Path
from xml.etree import ElementTree

import pytest

from coordinator.cli.command import run as unisono
from coordinator.config.arm import load_arm
from coordinator.config.settings import DEMO_ARM

REVERSAL = "target_deg,from,deviation_deg\n" + "".join(
    f"{at},{side},{value + k / 1000}\n"
    for at in (0, 45)
    for side, value in (("below", 0.1), ("above", -0.05 - at / 1000))
    for k in (-1, 0, 0, 0, 1)
)


@pytest.fixture
def table(tmp_path: Path) -> Path:
    file = tmp_path / "shoulder.csv"
    file.write_text(REVERSAL, encoding="utf-8")
    return file


@pytest.fixture
def arm_file(tmp_path: Path) -> Path:
    file = tmp_path / "arm.toml"
    file.write_text(DEMO_ARM.read_text(encoding="utf-8"), encoding="utf-8")
    return file


def answering(monkeypatch: pytest.MonkeyPatch, answer: str) -> None:
    """Have this typed in a terminal."""
    typed = StringIO(answer)
    monkeypatch.setattr(typed, "isatty", lambda: True)
    monkeypatch.setattr(sys, "stdin", typed)


def run(*arguments: str | Path) -> int:
    return unisono(["accuracy", *map(str, arguments)])


def test_reversal_value_is_told_with_its_uncertainty(
    table: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("reversal", table) == 0
    told = capsys.readouterr().out
    assert "45°: from below 0.1000° (s 0.0007°, 5 readings), from above -0.0950°" in told
    assert "reversal value 0.1950° at 45°, mean 0.1725°" in told


def test_json_has_every_figure(table: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("reversal", table, "--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert told["reversal"] == pytest.approx(0.195)
    assert [one["at"] for one in told["targets"]] == [0.0, 45.0]
    assert told["targets"][0]["below"]["count"] == 5


def test_what_was_found_goes_into_the_arm_file_and_nothing_else_changes(
    table: Path, arm_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = arm_file.read_text(encoding="utf-8").splitlines()
    assert run("reversal", table, "--joint", "shoulder", "--arm", arm_file, "--yes") == 0
    told = capsys.readouterr()
    after = arm_file.read_text(encoding="utf-8").splitlines()

    assert [line for line in after if line not in before] == ["reversal_error_deg = 0.195"]
    assert [line for line in after if line != "reversal_error_deg = 0.195"] == before
    assert "+reversal_error_deg = 0.195" in told.err
    shoulder = next(one for one in load_arm(arm_file).joints if one.name == "shoulder")
    assert shoulder.reversal_error_deg == 0.195


def test_without_a_yes_nothing_is_written(
    table: Path, arm_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = arm_file.read_bytes()
    assert run("reversal", table, "--joint", "shoulder", "--arm", arm_file) == 2
    assert "without one give --yes" in capsys.readouterr().err
    assert arm_file.read_bytes() == before


@pytest.mark.parametrize("answer", ["no", "y", ""], ids=["no", "y", "end of input"])
def test_a_no_is_told_apart_from_what_failed_and_nothing_is_written(
    table: Path,
    arm_file: Path,
    answer: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    before = arm_file.read_bytes()
    answering(monkeypatch, answer)
    assert run("reversal", table, "--joint", "shoulder", "--arm", arm_file) == 5
    assert capsys.readouterr().err.endswith("unisono: nothing was written\n")
    assert arm_file.read_bytes() == before


def test_a_typed_yes_writes(table: Path, arm_file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    answering(monkeypatch, "yes\n")
    assert run("reversal", table, "--joint", "shoulder", "--arm", arm_file) == 0
    assert "reversal_error_deg = 0.195" in arm_file.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("options", "why"),
    [
        (["--joint", "shoulder"], "--joint and --arm belong together"),
        (["--joint", "tail", "--arm", "ARM", "--yes"], "there is no joint 'tail'"),
        (["--yes"], "--yes answers whether to write into an arm file: give --joint and --arm"),
        (["--radius-mm", "50"], "is an angle: a radius says nothing of it"),
        (["--plot", "x.png"], "must end in .svg"),
    ],
)
def test_wrong_input_is_told_and_nothing_is_written(
    table: Path,
    arm_file: Path,
    options: list[str],
    why: str,
    capsys: pytest.CaptureFixture[str],
) -> None:
    before = arm_file.read_bytes()
    given = [str(arm_file) if one == "ARM" else one for one in options]
    assert run("reversal", table, *given) == 2
    assert why in capsys.readouterr().err
    assert arm_file.read_bytes() == before


def test_the_arm_is_looked_at_before_readings_are(
    tmp_path: Path, arm_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    table = tmp_path / "shoulder.csv"
    table.write_text("nothing of use", encoding="utf-8")
    for arm, why in ((arm_file, "there is no joint 'tail'"), (tmp_path / "no.toml", "no.toml")):
        assert run("reversal", table, "--joint", "tail", "--arm", arm) == 2
        told = capsys.readouterr()
        assert why in told.err
        assert "the head is" not in told.err
        assert told.out == ""


def test_a_play_that_cannot_be_is_remarked_and_goes_into_no_arm_file(
    tmp_path: Path, arm_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = arm_file.read_bytes()
    table = tmp_path / "shoulder.csv"
    table.write_text(REVERSAL.replace("45,", "0.1,"), encoding="utf-8")
    assert run("reversal", table) == 0
    why = "0.195° at 0.1°, is larger than all targets lie apart, 0.1°"
    assert why in capsys.readouterr().err
    assert run("reversal", table, "--joint", "shoulder", "--arm", arm_file, "--yes") == 2
    assert "it is not written" in capsys.readouterr().err
    assert arm_file.read_bytes() == before


def test_readings_that_are_all_the_same_are_not_told_as_perfect(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    table = tmp_path / "pose.csv"
    table.write_text("angle_deg\n" + "0.25\n" * 12, encoding="utf-8")
    assert run("repeatability", table) == 0
    told = capsys.readouterr()
    assert "finer than 0.01 deg" in told.err
    assert "repeatability less than 0.01 deg can tell" in told.out
    assert "standard uncertainty 0.0029 deg" in told.out


def test_a_figure_that_the_arm_file_cannot_have_is_refused_whole(
    tmp_path: Path, arm_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    # An overtravel must be larger than the play that it takes up.
    text = arm_file.read_text(encoding="utf-8")
    mark = 'name = "shoulder"\n'
    assert text.count(mark) == 1
    text = text.replace(mark, f"{mark}approach = {{ direction = 1, overtravel_deg = 0.1 }}\n")
    arm_file.write_text(text, encoding="utf-8")
    load_arm(arm_file)
    table = tmp_path / "shoulder.csv"
    table.write_text(REVERSAL, encoding="utf-8")

    assert run("reversal", table, "--joint", "shoulder", "--arm", arm_file, "--yes") == 2
    assert "reversal_error_deg" in capsys.readouterr().err
    assert arm_file.read_text(encoding="utf-8") == text


@pytest.mark.parametrize("ways", ["angle_deg", "x_um,y_um", "x_mm,y_mm,z_mm"])
def test_repeatability_is_told_and_drawn(
    tmp_path: Path, ways: str, capsys: pytest.CaptureFixture[str]
) -> None:
    width = ways.count(",") + 1
    table, picture = tmp_path / "pose.csv", tmp_path / "pose.svg"
    rows = [",".join(str((k * 7 + way) % 5) for way in range(width)) for k in range(12)]
    table.write_text("\n".join([ways, *rows]), encoding="utf-8")

    assert run("repeatability", table, "--plot", picture) == 0
    told = capsys.readouterr()
    assert ("RP = ±3 S" if ways == "angle_deg" else "RP = mean distance + 3 S") in told.out
    assert "12 readings: the standard asks for 30" in told.err
    drawn = ElementTree.fromstring(picture.read_text(encoding="utf-8"))
    tips = [one.text or "" for one in drawn.iter("{http://www.w3.org/2000/svg}title")]
    assert len([tip for tip in tips if tip[:2].rstrip(":").isdigit()]) == 12


def test_a_reversal_picture_has_a_mark_for_each_side_of_each_target(
    table: Path, tmp_path: Path
) -> None:
    picture = tmp_path / "shoulder.svg"
    assert run("reversal", table, "--plot", picture) == 0
    drawn = picture.read_text(encoding="utf-8")
    assert drawn.count("° from below: ") == 2
    assert drawn.count("° from above: ") == 2


def test_nine_readings_make_no_repeatability(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    table = tmp_path / "pose.csv"
    table.write_text("angle_deg\n" + "0.1\n" * 9, encoding="utf-8")
    assert run("repeatability", table) == 2
    assert "9 readings where 10 are needed" in capsys.readouterr().err


def reversal_of(below: list[float], above: list[float], digits: int = 4) -> str:
    """The table of one target."""
    sides = (("below", below), ("above", above))
    rows = [f"0,{side},{one:.{digits}f}\n" for side, read in sides for one in read]
    return "target_deg,from,deviation_deg\n" + "".join(rows)


NOISE = [0.03, -0.05, 0.01, 0.06, -0.02]


@pytest.mark.parametrize(
    "text",
    [
        reversal_of([0.0] * 15, [0.0] * 15, digits=0),
        reversal_of(NOISE, [0.01 + one for one in reversed(NOISE)]),
    ],
    ids=["a gauge that is too coarse", "scatter alone"],
)
def test_play_that_readings_cannot_see_is_told_as_a_bound_and_takes_no_known_one_out_of_the_file(
    tmp_path: Path, arm_file: Path, text: str, capsys: pytest.CaptureFixture[str]
) -> None:
    known = arm_file.read_text(encoding="utf-8").replace(
        'name = "shoulder"\n', 'name = "shoulder"\nreversal_error_deg = 0.25\n'
    )
    arm_file.write_text(known, encoding="utf-8")
    table = tmp_path / "shoulder.csv"
    table.write_text(text, encoding="utf-8")
    assert run("reversal", table, "--joint", "shoulder", "--arm", arm_file, "--yes") == 1
    told = capsys.readouterr()
    assert "no play of shoulder is seen in these readings, which does not say" in told.err
    assert "no play is seen: the reversal value is less than" in told.out
    assert arm_file.read_text(encoding="utf-8") == known


def test_figures_of_readings_that_are_all_the_same_are_told_as_what_these_cannot_tell(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    table = tmp_path / "shoulder.csv"
    table.write_text(reversal_of([0.0] * 5, [0.0] * 5, digits=0), encoding="utf-8")
    assert run("reversal", table) == 0
    told = capsys.readouterr().out
    assert "repeatability less than 1° can tell (R)" in told
    assert "accuracy less than 1° can tell (A)" in told


def test_joint_that_stops_further_up_from_below_is_remarked_as_play_does_otherwise(
    table: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("reversal", table) == 0
    assert "play makes a joint stop short" in capsys.readouterr().err
    other = tmp_path / "other.csv"
    other.write_text(reversal_of([-0.1, -0.11] * 3, [0.1, 0.11] * 3), encoding="utf-8")
    assert run("reversal", other) == 0
    assert "play makes a joint stop short" not in capsys.readouterr().err
