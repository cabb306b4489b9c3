"""`unisono home`: what each joint will do is told before it is let, and joints one by one."""

import io
import json
import sys
from typing import Any
from urllib.parse import urlsplit

import pytest

from coordinator.api.responses import arm
from coordinator.api.responses.base import plain
from coordinator.cli.command import run
from coordinator.cli.held_homing import newer
from coordinator.cli.holding import HeldKey
from coordinator.cli.homing_ways import way_words
from coordinator.cli.jog_keys import TURNS_US
from coordinator.client.reading import read
from coordinator.core.homing_ways import HomingWay
from tests.coordinator.cli.servers import ARM, HOMED, Answer, arm_told, joint, served

WAY: dict[str, Any] = plain(arm.ARM.homing_ways)[0]


def way(name: str, **values: Any) -> dict[str, Any]:
    """What the arm says of how a joint would home: its angle is not known."""
    return WAY | {"joint": name, "angle_known": False} | values


class Coordinator:
    """One with an elbow and a wrist, which homes at once whatever it is told to."""

    def __init__(self, **values: Any) -> None:
        self.homed: list[list[str]] = []
        self._arm = ARM | {
            "joints": [joint("elbow"), joint("wrist")],
            "homing_ways": [way("wrist", may_collide=""), way("elbow")],
            **values,
        }

    def __call__(self, path: str, body: bytes) -> Answer:
        where = urlsplit(path).path.removeprefix("/api/v1")
        if where == "/home":
            self.homed.append(json.loads(body)["joints"])
        asked = self.homed[-1] if self.homed else []
        found = {"edges": [], "middle": 0, "home_offset_deg": 0.0}
        answers: dict[str, object] = {
            "/arm": self._arm,
            "/home": {"homing": len(self.homed)},
            "/control/release": {"holder": None, "you": "me", "watchers": 0},
        }
        answer = answers.get(where, HOMED | {"asked": asked, "joints": dict.fromkeys(asked, found)})
        return 200, {"Content-Type": "application/json"}, json.dumps(answer).encode()


@pytest.fixture(name="typed")
def terminal(monkeypatch: pytest.MonkeyPatch) -> Any:
    """Has somebody sit at a terminal and type this."""

    class Typed(io.StringIO):
        def isatty(self) -> bool:
            return True

    def typed(text: str) -> None:
        monkeypatch.setattr(sys, "stdin", Typed(text))
        monkeypatch.setattr(sys.stdout, "isatty", lambda: True, raising=False)

    return typed


def test_a_way_is_told_with_its_direction_its_end_and_what_its_owner_says_it_may_run_into() -> None:
    told = way_words(read(HomingWay, way("elbow", may_collide="the tray")))
    assert told == (
        "elbow turns towards smaller angles, at up to 20 °/s and by at most 260° from where it "
        "stands; it may first turn back towards larger angles, to where it met its home sensor "
        "last, by at most as much. Where it stands is not known. It may run into the tray."
    )
    on_sensor = way("elbow", on_sensor=True, searches="larger", may_collide="", angle_known=True)
    told = way_words(read(HomingWay, on_sensor))
    assert "first turns towards smaller angles, off it and 5° further" in told
    assert "not known" not in told
    assert "What it may run into is not stated in the arm file" in told
    assert "other parts of this arm and its cables among it" in told


def test_where_an_angle_is_not_known_all_ways_are_told_in_the_order_of_homing_before_any_moves(
    capsys: pytest.CaptureFixture[str],
) -> None:
    coordinator = Coordinator()
    with served(coordinator) as url:
        assert run(["home", "--url", url]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert told.index("1. wrist turns") < told.index("2. elbow turns") < told.index("Caution")
    assert coordinator.homed == [[]]


def test_where_all_angles_are_known_no_way_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    coordinator = Coordinator(homing_ways=[way("elbow", angle_known=True)])
    with served(coordinator) as url:
        assert run(["home", "--url", url]) == 0
    assert "turns towards" not in capsys.readouterr().out


def test_an_older_coordinator_that_tells_no_ways_homes_as_ever() -> None:
    coordinator = Coordinator(homing_ways=None, homing_while_held=None)
    with served(coordinator) as url:
        assert run(["home", "--url", url]) == 0
    assert coordinator.homed == [[]]


def test_at_a_terminal_each_joint_waits_until_it_is_let(
    typed: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    coordinator = Coordinator()
    typed("\n\n")
    with served(coordinator) as url:
        assert run(["home", "--url", url]) == 0
    assert coordinator.homed == [["wrist"], ["elbow"]]
    said = capsys.readouterr()
    assert "Look at wrist. Enter homes it" in said.err
    assert "homed: wrist elbow" in said.out


@pytest.mark.parametrize(("text", "homed"), [("\nq\n", [["wrist"]]), ("q\n", []), ("", [])])
def test_who_leaves_before_a_joint_moves_it_not(
    typed: Any, capsys: pytest.CaptureFixture[str], text: str, homed: list[list[str]]
) -> None:
    coordinator = Coordinator()
    typed(text)
    with served(coordinator) as url:
        assert run(["home", "--url", url]) == 1
    assert coordinator.homed == homed
    assert "was homed: it was not moved" in capsys.readouterr().err


def test_only_those_named_are_asked_about(typed: Any) -> None:
    coordinator = Coordinator()
    typed("\n")
    with served(coordinator) as url:
        assert run(["home", "elbow", "--url", url]) == 0
    assert coordinator.homed == [["elbow"]]


def test_a_program_is_neither_asked_nor_told(
    typed: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    coordinator = Coordinator()
    typed("")
    with served(coordinator) as url:
        assert run(["home", "--json", "--url", url]) == 0
    assert json.loads(capsys.readouterr().out)["state"] == "done"
    assert coordinator.homed == [[]]


@pytest.mark.parametrize("words", [[], ["--json"]])
def test_where_a_key_is_to_be_held_a_terminal_is_needed(
    capsys: pytest.CaptureFixture[str], words: list[str]
) -> None:
    coordinator = Coordinator(homing_while_held=True)
    with served(coordinator) as url:
        assert run(["home", *words, "--url", url]) == 2
    assert coordinator.homed == []
    said = capsys.readouterr()
    assert "homing_while_held" in said.err + said.out


def test_the_key_that_homed_one_joint_homes_the_next_only_once_it_was_let_go() -> None:
    key = HeldKey("h", 1_000_000)
    for now_us in range(1_000_000, 2_000_000, 50_000):
        key.press("h", now_us)
        assert not key.is_held(now_us)
    again_us = 1_950_000 + TURNS_US
    key.press("h", again_us)
    assert key.is_held(again_us)


def test_only_a_homing_of_this_joint_that_began_since_counts() -> None:
    def told(number: int, *asked: str) -> Any:
        return arm_told(ARM | {"homing": HOMED | {"number": number, "asked": list(asked)}})

    assert newer(told(3, "elbow"), "elbow", 2) is not None
    assert newer(told(2, "elbow"), "elbow", 2) is None
    assert newer(told(3, "wrist"), "elbow", 2) is None
    assert newer(arm_told(ARM), "elbow", 0) is None
