"""The caution: once for each command that moves the arm, after its input was found right."""

import contextlib
import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from coordinator.cli import held_way, jog_live
from coordinator.cli.command import run
from coordinator.cli.common import CAUTION
from coordinator.cli.jog_terminal import Terminal
from coordinator.client import Unreachable
from tests.coordinator.cli.servers import ARM, ENDED, HOMED, REPORTED, Answer, joint, served

MISTAKE: dict[str, Any] = {
    "type": "urn:unisono:problem:program", "detail": "the program has 1 mistake",
    "errors": [{"line": 1, "column": 1, "message": "G7 is not known"}],
}  # fmt: skip
NOBODY: dict[str, Any] = {"holder": None, "you": "me", "watchers": 0}
TAUGHT: dict[str, Any] = {
    "waypoints": [{"id": 3, "name": "tray", "angles_deg": {}}], "sequences": [], "programs": [],
    "revision": 1, "undo": None, "redo": None,
}  # fmt: skip


def _willing(path: str, asked: bytes) -> Answer:
    """A coordinator that does at once what it is asked, unless a program has a G7."""
    status: int = 202
    value: dict[str, Any] = {"homing": 1, "run": 1}
    if not asked:
        status, value = 200, {
            "/arm": ARM | {"joints": [joint(name) for name in ("base", "middle", "tip")]},
            "/homings/1": HOMED | {"asked": ["base", "tip"]},
            "/runs/1": ENDED,
            "/runs/1/report": REPORTED,
            "/control": NOBODY,
            "/control/release": NOBODY,
            "/resume": {"phase": "moving"},
            "/taught": TAUGHT,
        }[path.removeprefix("/api/v1")]  # fmt: skip
    elif path.endswith(("/go", "/jog")):
        value = {"phase": "idle"}
    elif "G7" in json.loads(asked).get("text", ""):
        status, value = 422, MISTAKE
    return status, {"Content-Type": "application/json"}, json.dumps(value).encode()


@pytest.fixture(name="url", scope="module")
def willing_coordinator() -> Iterator[str]:
    with served(_willing) as url:
        yield url


@pytest.mark.parametrize(
    ("command", "last"),
    [
        ("home tip base", "homed: base tip"),
        ("run good.nc", ""),
        ("resume", ""),
        ("teach go tray", "the arm is at tray"),
    ],
)
def test_caution_is_printed_once_and_joints_in_the_arms_order(
    url: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    command: str,
    last: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "good.nc").write_text("M2\n")
    assert run([*command.split(), "--url", url]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == CAUTION
    assert lines.count(CAUTION) == 1
    assert not last or lines[-1] == last


@pytest.mark.parametrize("command", ["home tip knee", "run bad.nc", "run nowhere.nc"])
def test_wrong_input_comes_without_a_caution(
    url: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    command: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "bad.nc").write_text("G7\n")
    assert run([*command.split(), "--url", url]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.startswith("unisono: ")


@pytest.mark.parametrize(
    "command", ["home tip", "jog tip 5", "run good.nc", "resume", "teach go tray"]
)
def test_where_nothing_moves_the_reason_stands_alone(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    command: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "good.nc").write_text("M2\n")
    why = "tip is offline: silent for 3 s"

    def refusing(path: str, asked: bytes) -> Answer:
        if not asked and not path.endswith("/resume"):
            return _willing(path, asked)
        told = {"type": "urn:unisono:problem:joint-offline", "detail": why}
        kind = {"Content-Type": "application/problem+json"}
        return 409, kind, json.dumps(told).encode()

    with served(refusing) as url:
        assert run([*command.split(), "--url", url]) == 3
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err == f"unisono: {why}\n"


@pytest.mark.parametrize("command", ["jog", "go park"])
def test_keys_that_reach_no_arm_come_without_a_caution(
    url: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    command: str,
) -> None:
    why = "the coordinator opens no feed: your token is to watch"

    def no_feed(_url: str) -> contextlib.AbstractContextManager[object]:
        raise Unreachable(why)

    monkeypatch.setattr(jog_live, "feed_at", no_feed)
    monkeypatch.setattr(held_way, "feed_at", no_feed)
    monkeypatch.setattr(Terminal, "opened", contextlib.nullcontext)
    monkeypatch.setattr(sys.stdin, "isatty", lambda: True, raising=False)
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True, raising=False)
    assert run([*command.split(), "--url", url]) == 4
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err == f"unisono: {why}\n"


def test_resume_for_a_program_comes_without_a_caution(
    url: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["resume", "--json", "--url", url]) == 0
    assert json.loads(capsys.readouterr().out)["condition"] == ARM["condition"]
