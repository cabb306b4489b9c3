"""`unisono output`: switched once the joint says so, with a stand-in for the coordinator."""

import json
from collections.abc import Callable
from typing import Any

import pytest

from coordinator.cli import watch
from coordinator.cli.command import run
from tests.coordinator.cli.servers import ARM, Answer, joint, served

CONTROL = {"holder": None, "you": "me", "watchers": 0}


def arm(**values: Any) -> dict[str, Any]:
    return ARM | {"joints": [joint("base", outputs={}, inputs={}), joint("tip", **values)]}


def telling(asked: list[object], *arms: dict[str, Any]) -> Callable[[str, bytes], Answer]:
    """A coordinator that tells these states of the arm, the last for ever."""
    told = list(arms)

    def answer(path: str, body: bytes) -> Answer:
        path = path.removeprefix("/api/v1")
        value: dict[str, Any] = CONTROL if path == "/control" else {"phase": "idle"}
        if path == "/arm":
            value = told.pop(0) if len(told) > 1 else told[0]
        elif path == "/output":
            asked.append(json.loads(body))
        return 200, {"Content-Type": "application/json"}, json.dumps(value).encode()

    return answer


OFF = arm(outputs={"gripper": False}, inputs={"held": True})
ON = arm(outputs={"gripper": True}, inputs={"held": True})


def test_an_output_is_asked_for_once_and_told_once_its_joint_confirms_it(
    capsys: pytest.CaptureFixture[str],
) -> None:
    asked: list[object] = []
    with served(telling(asked, OFF, OFF, ON)) as url:
        assert run(["output", "gripper", "on", "--url", url]) == 0
    assert asked == [{"output": "gripper", "on": True}]
    assert capsys.readouterr().out == "gripper is on\n"


def test_an_output_that_its_joint_does_not_confirm_is_no_success(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(watch, "REST_S", 0.3)
    with served(telling([], ON)) as url:
        assert run(["output", "gripper", "off", "--url", url]) == 1
    assert "gripper is not confirmed to be off" in capsys.readouterr().err


def test_joints_tells_outputs_and_inputs_by_name(capsys: pytest.CaptureFixture[str]) -> None:
    with served(telling([], OFF)) as url:
        assert run(["joints", "--url", url]) == 0
    assert "tip: output gripper off, input held on\n" in capsys.readouterr().out


def test_another_word_than_on_or_off_is_wrong_input(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["output", "gripper", "open"]) == 2
    assert "open" in capsys.readouterr().err
