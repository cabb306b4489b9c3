"""`unisono warnings`: what stands, since when, what to do, and that it was seen."""

import json
from datetime import datetime
from typing import Any

import pytest

from coordinator.cli.command import run
from tests.coordinator.cli.servers import Answer, served

WARNING: dict[str, Any] = {
    "id": 3,
    "joint": "elbow",
    "code": "supply-low",
    "level": "attention",
    "message": "elbow had 19.1 V when this began, below its warning at 20 V; below 18 V it stops",
    "advice": "measure the supply",
    "since_us": 5,
    "since_utc": "2026-05-04T10:11:12+00:00",
    "acknowledged": False,
}


class Coordinator:
    """What answers in its place, and what it was asked."""

    def __init__(self, *standing: dict[str, Any]) -> None:
        self.standing = standing
        self.asked: list[str] = []

    def __call__(self, path: str, _body: bytes) -> Answer:
        self.asked.append(path)
        if path == "/api/v1/warnings":
            return 200, {}, json.dumps({"warnings": self.standing}).encode()
        for one in self.standing:
            if path == f"/api/v1/warnings/{one['id']}/acknowledge":
                return 200, {}, json.dumps(one | {"acknowledged": True}).encode()
        detail = {"type": "urn:unisono:problem:not-found", "detail": "no warning 4 stands"}
        return 404, {}, json.dumps(detail).encode()


def asked(
    coordinator: Coordinator, capsys: pytest.CaptureFixture[str], *arguments: str
) -> tuple[int, str, str]:
    """Exit code, output and errors of the command."""
    with served(coordinator) as url:
        code = run(["warnings", "--url", url, *arguments])
    said = capsys.readouterr()
    return int(code), said.out, said.err


def test_each_warning_has_its_number_level_joint_time_message_and_advice(
    capsys: pytest.CaptureFixture[str],
) -> None:
    seen = WARNING | {"id": 4, "level": "danger", "joint": "tool", "acknowledged": True}
    code, out, _ = asked(Coordinator(WARNING, seen), capsys)
    since = datetime.fromisoformat("2026-05-04T10:11:12+00:00").astimezone()
    assert code == 0
    assert out.splitlines() == [
        f"3: attention: elbow, supply-low since {since:%Y-%m-%d %H:%M:%S}",
        "  elbow had 19.1 V when this began, below its warning at 20 V; below 18 V it stops",
        "  What to do: measure the supply.",
        f"4: danger: tool, supply-low since {since:%Y-%m-%d %H:%M:%S}, acknowledged",
        "  elbow had 19.1 V when this began, below its warning at 20 V; below 18 V it stops",
        "  What to do: measure the supply.",
    ]


def test_an_arm_that_is_well_says_so(capsys: pytest.CaptureFixture[str]) -> None:
    assert asked(Coordinator(), capsys) == (0, "no warnings\n", "")
    code, out, _ = asked(Coordinator(), capsys, "--json")
    assert (code, json.loads(out)) == (0, {"warnings": []})


def test_one_that_was_seen_is_told_to_the_coordinator(capsys: pytest.CaptureFixture[str]) -> None:
    coordinator = Coordinator(WARNING)
    code, out, _ = asked(coordinator, capsys, "--acknowledge", "3")
    assert coordinator.asked == ["/api/v1/warnings/3/acknowledge"]
    assert (code, out) == (0, f"acknowledged: {WARNING['message']}\n")
    _, out, _ = asked(coordinator, capsys, "--acknowledge", "3", "--json")
    assert json.loads(out) == {"warnings": [WARNING | {"acknowledged": True}]}


def test_a_number_that_does_not_stand_is_wrong_input(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = asked(Coordinator(WARNING), capsys, "--acknowledge", "4")
    assert (code, out, err) == (2, "", "unisono: no warning 4 stands\n")
    assert asked(Coordinator(WARNING), capsys, "--acknowledge", "0")[0] == 2
