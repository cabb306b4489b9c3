"""A coordinator that hangs, as a process does that is stopped: its system takes the connections."""

import json
import socket
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from coordinator.cli.command import run
from tests.coordinator.cli.servers import ARM, GOING, HOMED, Answer, served

WITHIN_S = 0.1


@pytest.fixture(autouse=True)
def impatient(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Only what plans a program is still waited for as long as ever."""
    monkeypatch.setattr("coordinator.client.asking.PATIENCE_S", WITHIN_S)
    for name in ("SOON_S", "GIVE_BACK_S"):
        monkeypatch.setattr(f"coordinator.client.questions.patience.{name}", WITHIN_S)
    monkeypatch.chdir(tmp_path)
    (tmp_path / "good.nc").write_text("M2\n")


@pytest.fixture(name="mute_url")
def server_that_never_answers() -> Iterator[str]:
    with socket.create_server(("127.0.0.1", 0)) as mute:
        yield f"http://127.0.0.1:{mute.getsockname()[1]}"


@pytest.mark.parametrize(
    "command",
    ["joints", "home", "run good.nc", "hold", "resume", "stop", "override 50", "control",
     "control take", "control release", "report", "report 3", "warnings",
     "warnings --acknowledge 3", "journal", "check good.nc", "rehearse good.nc"],
)  # fmt: skip
def test_every_command_gives_up_soon_and_says_in_one_line_that_the_coordinator_hangs(
    mute_url: str, command: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run([*command.split(), "--url", mute_url]) == 4
    said = capsys.readouterr()
    (line,) = said.err.splitlines()
    assert f"the coordinator at {mute_url} hangs: " in line
    assert f"has not answered within {WITHIN_S:g} s" in line
    assert said.out == ""


@pytest.mark.parametrize(("command", "late"), [("stop", True), ("hold", True), ("joints", False)])
def test_a_command_that_may_still_be_carried_out_later_is_told_of_as_such(
    mute_url: str, command: str, late: bool, capsys: pytest.CaptureFixture[str]
) -> None:
    run([command, "--url", mute_url])
    assert ("may still do later what it was asked" in capsys.readouterr().err) is late


@pytest.mark.parametrize("words", [["run", "good.nc"], ["home"]])
def test_one_that_hangs_in_the_middle_is_given_up_as_soon_with_what_is_known_of_the_arm(
    words: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    goes_on = threading.Event()
    moving = ARM | {"condition": ARM["condition"] | {"word": "moving", "cause": "good.nc"}}
    arms = iter([moving, moving])
    others: dict[str, dict[str, Any]] = {
        "/runs": {"run": 1},
        "/home": {"homing": 1},
        "/homings/1": HOMED | {"state": "running", "current": "tip"},
        "/runs/1": GOING,
    }

    def answer(path: str, _body: bytes) -> Answer:
        path = path.removeprefix("/api/v1")
        value = next(arms, None) if path == "/arm" else others.get(path)
        if value is None:
            goes_on.wait()
            value = {}
        return 200, {"Content-Type": "application/json"}, json.dumps(value).encode()

    with served(answer) as url:
        code = run([*words, "--json", "--url", url])
        goes_on.set()
    assert code == 4
    errors = [one["message"] for one in json.loads(capsys.readouterr().out)["errors"]]
    assert errors[0].startswith(f"the coordinator at {url} hangs: ")
    assert errors[1] == "when it answered last, the arm was: moving: good.nc"
    assert len(errors) == 3
