"""With --json a command prints what the coordinator said, also what only a newer one says."""

import json
from pathlib import Path
from typing import Any

import pytest

from coordinator.api.responses.arm import ALARMS, SHELF
from coordinator.api.responses.base import plain
from coordinator.cli.command import run
from tests.coordinator.cli.servers import (
    ARM,
    CHECKED,
    GOING,
    HOMED,
    REPORTED,
    WARNED,
    Answer,
    joint,
    served,
)
from tests.quick_arm import arm_text

NEW: dict[str, Any] = {"of_tomorrow": {"mood": ["fine"]}}
"""A member that this command does not know."""
CONDITION = ARM["condition"] | {"word": "held"} | NEW
HELD = GOING | {"phase": "held", "outcome": "held"} | NEW
SEEN = ARM | {"condition": CONDITION, "joints": [joint("base") | NEW], "run": HELD} | NEW
EVENT = {
    "id": 1, "utc": "2026-05-04T10:11:12+00:00", "at_us": 1, "level": "info", "code": "a-code",
    "message": "it was so", "joint": None, "who": None, "detail": False, **NEW,
}  # fmt: skip
ANSWERS: dict[str, dict[str, Any]] = {
    "/arm": SEEN,
    "/home": {"homing": 1},
    "/homings/1": HOMED | NEW,
    "/runs/1": HELD,
    "/runs/1/report": REPORTED | NEW,
    "/control": {"holder": "me", "you": "me", "watchers": 0} | NEW,
    "/warnings": {"warnings": [WARNED | NEW], "alarms": plain(ALARMS) | NEW},
    "/warnings/1/acknowledge": WARNED | {"acknowledged": True} | NEW,
    "/warnings/1/shelve": plain(SHELF),
    "/warnings/1/unshelve": plain(SHELF),
    "/events": {"events": [EVENT]},
    "/check": CHECKED | NEW,
}


def _answer(path: str, asked: bytes) -> Answer:
    path = path.removeprefix("/api/v1").partition("?")[0]
    if path == "/arm/file":
        return 200, {"Content-Type": "text/plain"}, arm_text(1).encode()
    told = ANSWERS.get(path, {"phase": "idle", "holder": None})
    return 200, {"Content-Type": "application/json"}, json.dumps(told).encode()


@pytest.mark.parametrize(
    ("command", "printed"),
    [
        ("joints", SEEN),
        ("home", HOMED | NEW),
        ("hold", {"condition": CONDITION, "run": HELD}),
        ("resume", {"condition": CONDITION, "run": HELD}),
        ("override 50", {"condition": CONDITION, "run": HELD}),
        ("control", ANSWERS["/control"]),
        ("report 1", REPORTED | NEW),
        ("warnings", ANSWERS["/warnings"]),
        ("warnings --shelve 1", {"shelved": plain(SHELF)}),
        ("warnings --unshelve 1", {"shelved": plain(SHELF)}),
        ("warnings --acknowledge 1", {"warnings": [WARNED | {"acknowledged": True} | NEW]}),
        ("journal", {"events": [EVENT]}),
        ("jog base 1", {"condition": CONDITION, "joint": joint("base") | NEW}),
    ],
)
def test_json_is_what_the_coordinator_said(
    command: str, printed: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    with served(_answer) as url:
        assert run([*command.split(), "--json", "--url", url]) == 0
    assert json.loads(capsys.readouterr().out) == printed


def test_so_is_that_of_a_check_with_the_arm_it_was_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "good.nc").write_text("M2\n")
    with served(_answer) as url:
        assert run(["check", "good.nc", "--json", "--url", url]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told == CHECKED | NEW | {
        "arm": "quick arm", "arm_source": {"kind": "coordinator", "place": url},
    }  # fmt: skip
