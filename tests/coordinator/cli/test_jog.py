"""`unisono jog JOINT DEGREES`: what it tells at the end, and which input is wrong."""

import json
from typing import Any
from urllib.parse import urlsplit

import pytest

from coordinator.cli import jog
from tests.coordinator.cli.here import Unisono, unisono_here
from tests.coordinator.cli.servers import ARM, Answer, joint, served


@pytest.fixture(name="unisono")
def unisono_of(capsys: pytest.CaptureFixture[str]) -> Unisono:
    return unisono_here(capsys)


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(jog, "LOOK_S", 0.0)


def seen(phase: str, word: str, state: str) -> dict[str, Any]:
    """What `GET /arm` says at some moment of a step of the tip."""
    return ARM | {
        "phase": phase,
        "condition": ARM["condition"] | {"word": word},
        "joints": [joint("tip", state=state, microstep_deg=0.00225)],
    }


STEP = [
    seen("idle", "at rest", "ready"),
    seen("jogging", "moving", "jogging"),
    seen("idle", "moving", "jogging"),  # over, and the joint has not said so yet
    seen("idle", "moving", "stopping"),
    seen("idle", "at rest", "ready"),
]
"""As a machine in virtual time tells them, one after another."""


class Stepped:
    """A coordinator that tells these states, the last for ever."""

    def __init__(self, *told: dict[str, Any]) -> None:
        self.told = list(told)
        self.asked: list[tuple[str, bytes]] = []

    def __call__(self, path: str, body: bytes) -> Answer:
        where = urlsplit(path).path.removeprefix("/api/v1")
        self.asked.append((where, body))
        value: dict[str, Any] = {"phase": "jogging"}
        if where == "/arm":
            value = self.told.pop(0) if len(self.told) > 1 else self.told[0]
        elif where.startswith("/control"):
            value = {"holder": None, "you": "me", "watchers": 0}
        return 200, {"Content-Type": "application/json"}, json.dumps(value).encode()


def test_what_is_told_is_how_the_joint_is_once_its_step_is_over(unisono: Unisono) -> None:
    with served(Stepped(*STEP)) as url:
        done = unisono("jog", "tip", "1", "--json", "--url", url)
    assert done.code == 0, done.err
    told = json.loads(done.out)
    assert (told["condition"]["word"], told["joint"]["state"]) == ("at rest", "ready")


def test_an_arm_that_is_moved_by_another_is_not_waited_for_without_end(
    unisono: Unisono, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(jog, "USUAL_S", 0.0)
    with served(Stepped(*STEP[:3])) as url:
        done = unisono("jog", "tip", "1", "--json", "--url", url)
    assert done.code == 0
    assert json.loads(done.out)["condition"]["word"] == "moving"


@pytest.mark.parametrize("degrees", ["0.002", "-0.002"])
def test_a_step_that_is_less_than_its_motor_makes_is_told_as_that(
    unisono: Unisono, degrees: str
) -> None:
    with served(Stepped(*STEP)) as url:
        done = unisono("jog", "tip", degrees, "--url", url)
    assert done.code == 0, done.err
    told = done.out.splitlines()[-1]
    assert told.startswith(f"tip is to be {degrees}° further: it is at ")
    assert told.endswith(
        "that is less than the smallest step of its motor, 0.00225°: it may not have turned"
    )


def test_a_step_of_as_much_is_told_as_done(unisono: Unisono) -> None:
    with served(Stepped(*STEP)) as url:
        done = unisono("jog", "tip", "0.00225", "--url", url)
    assert "tip was turned by 0.00225°" in done.out
    assert "smallest" not in done.out


def test_a_step_that_turns_nothing_is_wrong_input(unisono: Unisono) -> None:
    why = "tip: a step of 0° turns nothing; the smallest of its motor is 0.00225°"
    body = {"type": "urn:unisono:problem:step-angle", "status": 422, "detail": why}

    def refusing(path: str, asked: bytes) -> Answer:
        if path.endswith("/step"):
            return 422, {"Content-Type": "application/problem+json"}, json.dumps(body).encode()
        return Stepped(*STEP)(path, asked)

    with served(refusing) as url:
        done = unisono("jog", "tip", "0", "--url", url)
    assert (done.code, done.err) == (2, f"unisono: {why}\n")
