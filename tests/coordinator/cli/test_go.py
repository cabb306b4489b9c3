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
