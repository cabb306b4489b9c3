"""`unisono go`: which place is meant, and the key that is held."""

import json
from typing import Any

import pytest

from coordinator.cli import held_way
from coordinator.cli.command import run
from coordinator.cli.held_way import away
from coordinator.cli.holding import HeldKey
from coordinator.cli.jog_keys import TURNS_US
from tests.coordinator.cli.servers import ARM, REPORTED, Answer, arm_told, joint, served


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


def stands(**values: Any) -> dict[str, Any]:
    return joint(
        "turntable",
        **{"link": "up", "position_deg": 10.0, "velocity_deg_s": 0.0, "heard_at_us": 5_000_000}
        | values,
    )


@pytest.mark.parametrize(
    ("values", "is_away"),
    [
        ({}, False),
        ({"position_deg": 10.2}, True),
        ({"velocity_deg_s": 0.5}, True),
        ({"position_deg": None}, True),
        ({"link": "offline"}, True),
        ({"link": "connecting"}, True),
        ({"link": "conflict"}, True),
        ({"heard_at_us": 3_999_999}, True),  # a second and more before now
        ({"heard_at_us": None}, True),
    ],
)
def test_a_joint_that_nobody_hears_is_never_there(values: dict[str, Any], is_away: bool) -> None:
    arm = arm_told(ARM | {"joints": [stands(**values)]})
    assert away(arm, {"turntable": 10.0}, 5_000_000) == ["turntable"] * is_away


def test_a_joint_that_the_arm_does_not_tell_of_is_away() -> None:
    assert away(arm_told(ARM), {"turntable": 10.0}, 5_000_000) == ["turntable"]


def test_a_place_is_found_whatever_its_case_and_spaces(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    gone: list[tuple[str, object]] = []

    def goes(_url: str, title: str, wish: object, _angles_deg: object) -> None:
        gone.append((title, wish))

    def answer(path: str, body: bytes) -> Answer:
        if not path.endswith("/taught"):
            return arm_with_poses(path, body)
        status, headers, told = arm_with_poses(path, body)
        place = {"id": 4, "name": "above the tray", "angles_deg": {"turntable": 1.0}}
        return status, headers, json.dumps(json.loads(told) | {"waypoints": [place]}).encode()

    monkeypatch.setattr(held_way, "go_while_held", goes)
    with served(answer) as url:
        assert run(["go", " Park", "--url", url]) == 0
        assert run(["go", "Above  the TRAY", "--url", url]) == 0
    assert gone == [
        ("pose park", {"pose": "park"}),
        ("waypoint above the tray", {"waypoint": 4}),
    ]


@pytest.mark.parametrize(
    ("switches", "options"),
    [
        ({}, ""),
        ({"block_delete": True}, " --block-delete"),
        ({"block_delete": True, "optional_stop": True}, " --block-delete --optional-stop"),
    ],
)
def test_the_way_on_is_told_with_the_switches_of_the_run(
    switches: dict[str, bool], options: str, capsys: pytest.CaptureFixture[str]
) -> None:
    def answer(path: str, body: bytes) -> Answer:
        told: dict[str, Any] = {"run": 3, "name": "a.nc", "line": 1, "angles_deg": {}}
        if path.endswith("/report"):
            told = REPORTED | switches
        elif not path.endswith("/way"):
            return arm_with_poses(path, body)
        return 200, {"Content-Type": "application/json"}, json.dumps(told).encode()

    with served(answer) as url:
        assert run(["go", "--back", "--run", "3", "--url", url]) == 0
    told = capsys.readouterr().out
    assert f"'unisono run FILE --from-line 1{options}' goes on" in told
    assert "joints with an approach side first turn beyond" in told


def test_with_json_nothing_but_json_is_on_standard_output_when_it_parks(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    asked: list[bool] = []

    def goes(*_way: object, as_json: bool) -> None:
        asked.append(as_json)

    def answer(path: str, body: bytes) -> Answer:
        if path.endswith("/arm"):
            told = ARM | {"condition": ARM["condition"] | {"word": "motors off"}}
        else:
            told = {"phase": "idle"}
        return 200, {"Content-Type": "application/json"}, json.dumps(told).encode()

    monkeypatch.setattr(held_way, "go_while_held", goes)
    words = ["stop", "--level", "stop-and-release", "--park", "--json"]
    with served(answer) as url:
        assert run([*words, "--url", url]) == 0
    told = capsys.readouterr()
    assert json.loads(told.out)["unconfirmed"] == {}
    assert "motors go off now" in told.err
    assert asked == [True]
