"""`unisono check --plot`: a picture of what a program would do, and what is said of it."""

import json
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from coordinator.cli.command import run
from coordinator.config.settings import DEMO_ARM
from tests.e2e.harness import Bench


def words_in(picture: Path) -> list[str]:
    return [one.text or "" for one in ET.parse(picture).iter() if one.tag.endswith("text")]


@pytest.fixture(autouse=True)
def in_a_folder_of_its_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("tray.nc").write_text("G0 A10\nG4 P1\nM2\n")
    Path("bad.nc").write_text("G0 A10 Q5\nM2\n")


def test_the_picture_is_written_and_its_file_told(capsys: pytest.CaptureFixture[str]) -> None:
    arguments = ["check", "tray.nc", "--arm", str(DEMO_ARM), "--plot", "tray.svg"]
    assert run(arguments) == 0
    assert "tray.svg shows what each joint does" in capsys.readouterr().out
    assert {"tray.nc on bench arm", "turntable", "tool"} <= set(words_in(Path("tray.svg")))
    Path("tray.svg").unlink()
    assert run([*arguments, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["plot"] == "tray.svg"
    assert Path("tray.svg").is_file()
    assert run([*arguments[:-2], "--json"]) == 0
    assert "plot" not in json.loads(capsys.readouterr().out)


def test_a_program_with_mistakes_leaves_the_picture_that_was_there(
    capsys: pytest.CaptureFixture[str],
) -> None:
    Path("bad.svg").write_text("of yesterday")
    assert run(["check", "bad.nc", "--arm", str(DEMO_ARM), "--plot", "bad.svg", "--json"]) == 2
    assert "plot" not in json.loads(capsys.readouterr().out)
    assert Path("bad.svg").read_text() == "of yesterday"


def test_a_served_arm_is_drawn_as_its_coordinator_tells(
    jointless: Bench, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["check", "tray.nc", "--url", jointless.url, "--plot", "served.svg"]) == 0
    found = words_in(Path("served.svg"))
    assert "tray.nc on quick arm" in found
    assert any(said.endswith("s at full speed from the pose park; pauses and waits take no time "
                             "here") for said in found)  # fmt: skip
