"""What a stop or hold says while it waits, and that the worst comes first; with a stand-in."""

import json
from collections.abc import Callable
from typing import Any

import pytest

from coordinator.cli.command import run
from coordinator.cli.common import CAUTION
from coordinator.cli.condition import BEWARE
from tests.coordinator.cli.servers import ARM, GOING, HOMED, REPORTED, Answer, joint, served

LOST = joint(
    "tip", link="offline", link_message="silent for 3.4 s", stop_wanted=1, age_us=3_400_000
)
CAUSE = "tip is offline: silent for 3.4 s"


def arm(word: str, *joints: dict[str, Any], **condition: Any) -> dict[str, Any]:
    told = ARM["condition"] | {"word": word} | condition
    return ARM | {"joints": list(joints), "condition": told}


UNCONFIRMED = arm(
    "not known",
    joint("base"),
    LOST,
    cause="the stop has not reached tip",
    unconfirmed=["tip"],
)
STOPPED = arm("stopped", joint("base"), joint("tip"), cause="the operator asked")


def telling(*arms: dict[str, Any]) -> Callable[[str, bytes], Answer]:
    """A coordinator that tells these states of the arm, the last for ever."""
    told = list(arms)
    others: dict[str, Any] = {
        "/home": {"homing": 1},
        "/homings/1": HOMED | {"asked": ["base"]},
        "/runs": {"run": 1},
        "/runs/1": GOING | {
            "phase": "held", "outcome": "held", "message": "tip is offline: silent for 1 s",
            "obstacle": {"code": "joint-offline", "message": CAUSE},
        },
        "/runs/1/report": REPORTED | {"name": "a.nc", "outcome": "held"},
        "/control": {"holder": None, "you": "me", "watchers": 0},
    }  # fmt: skip

    def answer(path: str, _asked: bytes) -> Answer:
        path = path.removeprefix("/api/v1")
        if path == "/arm":
            value = told.pop(0) if len(told) > 1 else told[0]
        else:
            value = others.get(path, {"phase": "idle", "holder": None})
        return 200, {"Content-Type": "application/json"}, json.dumps(value).encode()

    return answer


@pytest.mark.parametrize("as_json", [False, True])
def test_a_stop_says_at_once_for_whom_it_waits_and_for_how_long(
    capsys: pytest.CaptureFixture[str], as_json: bool
) -> None:
    with served(telling(UNCONFIRMED, UNCONFIRMED, STOPPED)) as url:
        assert run(["stop", "--url", url, *["--json"] * as_json]) == 0
    assert capsys.readouterr().err.splitlines() == [
        f"STOP NOT CONFIRMED by tip, waiting up to 15 s: {BEWARE}"
    ]


def test_a_stop_that_is_soon_confirmed_by_all_says_nothing_of_waiting(
    capsys: pytest.CaptureFixture[str],
) -> None:
    braking = arm("moving", joint("base", stop_wanted=1), joint("tip", stop_wanted=1))
    with served(telling(braking, braking, STOPPED)) as url:
        assert run(["stop", "--url", url]) == 0
    said = capsys.readouterr()
    assert (said.out, said.err) == ("stopped: the operator asked\n", "")


def test_a_stop_that_stays_unconfirmed_says_so_first(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("coordinator.cli.watch.REST_S", 0.0)
    with served(telling(UNCONFIRMED)) as url:
        assert run(["stop", "--url", url]) == 1
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.splitlines() == [
        f"unisono: STOP NOT CONFIRMED by tip: {BEWARE}",
        "unisono: tip: stop not confirmed: it is offline: silent for 3.4 s",
        "unisono: not known: the stop has not reached tip",
    ]


def test_a_hold_says_what_it_waits_for(capsys: pytest.CaptureFixture[str]) -> None:
    lost = arm("moving", joint("base"), LOST | {"stop_wanted": 0}, cause=CAUSE)
    held = arm("held", joint("base"), joint("tip"), cause="the operator asked")
    with served(telling(lost, held)) as url:
        assert run(["hold", "--url", url]) == 0
    assert capsys.readouterr().err.splitlines() == [
        "waiting up to 15 s for the arm to come to rest: moving"
    ]


def test_homing_one_joint_while_another_has_not_confirmed_a_stop_says_that_first(
    capfd: pytest.CaptureFixture[str],
) -> None:
    with served(telling(UNCONFIRMED)) as url:
        assert run(["home", "base", "--url", url]) == 0
    said = capfd.readouterr()
    assert said.err.splitlines()[0] == f"STOP NOT CONFIRMED by tip: {BEWARE}"


@pytest.mark.parametrize("words", [["resume"], ["override", "50"]])
def test_what_only_passes_by_tells_an_unconfirmed_stop_before_the_word(
    words: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    with served(telling(UNCONFIRMED)) as url:
        assert run([*words, "--url", url]) == 0
    lines = [line for line in capsys.readouterr().out.splitlines() if line != CAUTION]
    first, second = lines
    assert first == f"STOP NOT CONFIRMED by tip: {BEWARE}"
    assert second.endswith("not known: the stop has not reached tip")


def test_a_run_that_is_held_while_a_joint_is_not_known_says_both(
    tmp_path: Any, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "a.nc").write_text("M2\n")
    unknown = arm("not known", joint("base"), LOST | {"stop_wanted": 0}, cause=CAUSE)
    resting = arm("moving", joint("base"), LOST, cause="base has not confirmed to be at rest")
    with served(telling(unknown, resting, unknown)) as url:
        assert run(["run", "a.nc", "--url", url]) == 1
    lines = capsys.readouterr().err.splitlines()
    assert lines[-2] == f"run 1: held; not known: {CAUSE}"
    assert lines[-1].startswith(f"unisono: run 1 is held; not known: {CAUSE}; it cannot be resumed")


def test_a_run_that_is_held_with_all_joints_at_rest_says_only_why(
    tmp_path: Any, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "a.nc").write_text("M2\n")
    with served(telling(arm("held", joint("base"), cause="the operator asked"))) as url:
        assert run(["run", "a.nc", "--url", url]) == 1
    last = capsys.readouterr().err.splitlines()[-1]
    assert last.startswith("unisono: run 1 is held: tip is offline: silent for 1 s; ")
