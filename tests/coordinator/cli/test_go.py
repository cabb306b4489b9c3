"""`unisono go`: which place is meant, and the key that is held."""

import json

import pytest

from coordinator.cli import run
from coordinator.cli.held_way import HeldKey
from coordinator.cli.jog_keys import TURNS_US
from tests.coordinator.cli.servers import ARM, Answer, served


def arm_with_poses(path: str, _body: bytes) -> Answer:
    taught = {
        "revision": 1, "waypoints": [], "sequences": [], "programs": [], "undo": None, "redo": None,
    }  # fmt: skip
    told = taught if path.endswith("/taught") else ARM
    return 200, {"Content-Type": "application/json"}, json.dumps(told).encode()


def test_key_is_held_while_it_repeats_and_any_other_key_lets_go() -> None:
    key = HeldKey()
    assert not key.is_held(0)
    key.press("g", 1_000)
    assert key.is_held(TURNS_US)
    key.press("g", TURNS_US)
    assert key.is_held(2 * TURNS_US - 1)
    assert not key.is_held(2 * TURNS_US)
    key.press("g", 0)
    key.press(" ", 1)
    assert not key.is_held(2)


def test_place_that_is_not_there_is_told_with_those_that_are(
    capsys: pytest.CaptureFixture[str],
) -> None:
    with served(arm_with_poses) as url:
        assert run(["go", "nowhere", "--url", url]) == 2
    assert capsys.readouterr().err == "unisono: there is no place 'nowhere'; there are park\n"


def test_way_needs_a_terminal_as_a_key_is_held(capsys: pytest.CaptureFixture[str]) -> None:
    with served(arm_with_poses) as url:
        assert run(["go", "park", "--url", url]) == 2
    assert "needs a terminal" in capsys.readouterr().err


def test_park_needs_a_level_that_lets_motors_go(capsys: pytest.CaptureFixture[str]) -> None:
    with served(arm_with_poses) as url:
        assert run(["stop", "--park", "--url", url]) == 2
    assert "--level" in capsys.readouterr().err


def test_who_cannot_park_is_told_that_nothing_was_stopped(
    capsys: pytest.CaptureFixture[str],
) -> None:
    asked: list[str] = []

    def answer(path: str, body: bytes) -> Answer:
        asked.append(path)
        return arm_with_poses(path, body)

    with served(answer) as url:
        assert run(["stop", "--level", "stop-and-release", "--park", "--url", url]) == 2
    assert not any(path.endswith("/stop") for path in asked)
    told = capsys.readouterr().err
    assert "needs a terminal" in told
    assert "nothing was stopped" in told
    assert "a raised arm may fall" in told


@pytest.mark.parametrize("words", [["go"], ["go", "park", "--back"], ["go", "park", "--run", "1"]])
def test_go_has_a_place_or_leads_back(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert run([*words, "--url", "http://127.0.0.1:9"]) == 2
    assert "--back" in capsys.readouterr().err
