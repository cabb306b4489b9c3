"""`unisono joints`: which firmware runs in each joint, and for which board."""

import json
from typing import Any

import pytest

from coordinator.cli.command import run
from coordinator.cli.show_firmware import firmware_lines
from tests.coordinator.cli import servers
from tests.coordinator.cli.servers import ARM, Answer, arm_told, served


def joint(name: str, **values: Any) -> dict[str, Any]:
    told = {"link": "up", "firmware": "1.4.0", "board": "bench-joint", "on_trial": False}
    return servers.joint(name, **(told | values))


def lines_of(*joints: dict[str, Any]) -> list[str]:
    return firmware_lines(arm_told(ARM | {"joints": joints}))


def test_joints_with_the_same_firmware_for_the_same_board_share_a_line() -> None:
    assert lines_of(
        joint("base"),
        joint("elbow", firmware="1.5.0"),
        joint("tip"),
        joint("tool", board="small-joint"),
    ) == [
        "firmware 1.4.0 on board bench-joint: base tip",
        "firmware 1.5.0 on board bench-joint: elbow",
        "firmware 1.4.0 on board small-joint: tool",
    ]


def test_one_on_trial_and_one_that_takes_none_over_the_air_are_told_as_that() -> None:
    assert lines_of(joint("base", on_trial=True), joint("tip", board=None)) == [
        "firmware 1.4.0 on board bench-joint, on trial: base",
        "firmware 1.4.0, board not told: tip",
    ]


@pytest.mark.parametrize(
    "values", [{"firmware": None}, {"link": "offline"}, {"link": "connecting"}]
)
def test_what_a_joint_does_not_say_now_is_not_known(values: dict[str, Any]) -> None:
    # What it said before its stream broke may be another one since: it may have been updated.
    assert lines_of(joint("base"), joint("tip", **values)) == [
        "firmware 1.4.0 on board bench-joint: base",
        "firmware not known now: tip",
    ]


def test_an_arm_without_joints_has_no_such_line() -> None:
    assert lines_of() == []


def test_the_command_shows_it(capsys: pytest.CaptureFixture[str]) -> None:
    def coordinator(_path: str, _body: bytes) -> Answer:
        told = ARM | {"joints": [joint("elbow")]}
        return 200, {"Content-Type": "application/json"}, json.dumps(told).encode()

    with served(coordinator) as url:
        assert run(["joints", "--url", url]) == 0
    assert "firmware 1.4.0 on board bench-joint: elbow\n" in capsys.readouterr().out
