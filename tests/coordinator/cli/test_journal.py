"""`unisono journal`: one line for one thing, details on demand."""

import json
from collections.abc import Iterator
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest

from coordinator.cli.command import run
from tests.coordinator.cli.servers import Answer, served


def event(number: int, message: str, **more: Any) -> dict[str, Any]:
    return {
        "id": number, "utc": f"2026-05-04T10:11:1{number}+00:00", "at_us": number, "level": "info",
        "code": "a-code", "message": message, "joint": None, "who": None, "detail": False,
    } | more  # fmt: skip


EVENTS = [
    event(1, "play prick_out_tray.nc, run 1", who="the terminal of gardener@bench"),
    event(2, "elbow holds", joint="elbow", detail=True),
    event(3, "held, all joints level: elbow is offline", level="attention"),
]


def _answer(path: str, _asked: bytes) -> Answer:
    asked = parse_qs(urlsplit(path).query)
    told = [one for one in EVENTS if asked["details"] == ["true"] or not one["detail"]]
    newest = told[::-1][: int(asked["limit"][0])]
    body = json.dumps({"events": newest}).encode()
    return 200, {"Content-Type": "application/json"}, body


@pytest.fixture(name="url", scope="module")
def coordinator_with_a_past() -> Iterator[str]:
    with served(_answer) as url:
        yield url


@pytest.fixture(autouse=True)
def utc(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TZ", "UTC")


def test_lines_are_told_oldest_first_and_who_commanded(
    url: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["journal", "--url", url]) == 0
    first, second = capsys.readouterr().out.splitlines()
    assert first.endswith("  play prick_out_tray.nc, run 1, by the terminal of gardener@bench")
    assert second.endswith("  attention: held, all joints level: elbow is offline")


def test_details_stand_indented_under_what_they_belong_to(
    url: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["journal", "--details", "--url", url]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == 3
    assert lines[1].endswith("      elbow holds")


def test_only_so_many_are_told_in_json_oldest_first_too(
    url: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["journal", "--limit", "2", "--details", "--json", "--url", url]) == 0
    assert json.loads(capsys.readouterr().out) == {"events": EVENTS[1:]}


@pytest.mark.parametrize("limit", ["0", "501", "x"])
def test_limit_has_its_bounds(url: str, capsys: pytest.CaptureFixture[str], limit: str) -> None:
    assert run(["journal", "--limit", limit, "--url", url]) == 2
    assert "limit" in capsys.readouterr().err


def test_a_journal_without_lines_says_so(capsys: pytest.CaptureFixture[str]) -> None:
    with served(lambda *_asked: (200, {}, b'{"events": []}')) as url:
        assert run(["journal", "--url", url]) == 0
    assert capsys.readouterr().out == "nothing has happened yet\n"
