"""The command line says the condition in the core's own words, and nothing calmer."""

import json
import re
from collections.abc import Callable
from contextlib import AbstractContextManager
from datetime import datetime, timedelta
from typing import Any

import pytest

from coordinator.api.responses.base import plain
from coordinator.cli.command import run
from coordinator.cli.common import Failure
from coordinator.cli.condition import by_own_rules, headline, unconfirmed, watching
from coordinator.client import Client, Unreachable
from coordinator.core import events as ev
from coordinator.core.condition import condition
from coordinator.core.run import Phase
from coordinator.core.snapshot.arm import arm_snapshot
from coordinator.rehearsal.world import World
from protocol.drive import StopLevel
from protocol.status import Fault
from tests.coordinator.cli.servers import GOING, HOMED, Answer, arm_told, served
from tests.coordinator.core.kit import (
    EVEN,
    LONG,
    S,
    homed_world,
    moving,
    play,
    unit,
    until,
    until_phase,
    world_up,
)


def shown(world: World) -> dict[str, Any]:
    """What `GET /arm` says of it."""
    told: dict[str, Any] = plain(arm_snapshot(world.core, world.laptop.now))
    return told


def starting() -> World:
    world = homed_world(EVEN)
    play(world, LONG)
    until(world, lambda: condition(world.core, world.laptop.now).at_us is not None)
    return world


def in_motion() -> World:
    world = homed_world("none")
    moving(world)
    return world


def held() -> World:
    world = in_motion()
    world.command(ev.Hold())
    until_phase(world, Phase.HELD)
    world.run_for(1 * S)
    return world


def stopped() -> World:
    world = homed_world("none")
    world.command(ev.Stop())
    world.run_for(1 * S)
    return world


def limp() -> World:
    world = homed_world("none")
    world.command(ev.Stop(StopLevel.RELEASE))
    world.run_for(1 * S)
    return world


def faulty() -> World:
    world = homed_world("none")
    unit(world, "tip").fault(Fault.DRIVER, world.now)
    world.poll(world.node("tip"))
    world.run_for(1 * S)
    return world


def homing() -> World:
    world = world_up("none")
    world.command(ev.Home())
    return world


def paused() -> World:
    world = homed_world("none")
    play(world, "G90 G94\nG0 A5\nM0\nG0 A0\nM2\n")
    until_phase(world, Phase.PAUSED)
    world.run_for(1 * S)
    return world


def lost() -> World:
    world = in_motion()
    world.kill_joint("tip")
    until_phase(world, Phase.HELD)
    return world


@pytest.mark.parametrize(
    ("situation", "words"),
    [
        (starting, r"starts in 0\.\d s: test"),
        (in_motion, "moving: test"),
        (held, "held: the operator asked"),
        (stopped, "stopped: the operator asked"),
        (limp, "motors off: the operator asked"),
        (faulty, "stopped: tip has a fault: driver"),
        (homing, "homing: tip"),
        (paused, "paused: test: the pause of line 3 waits for resume"),
        (
            lost,
            (
                r"not known: tip is offline: it answers no more; "
                r"by its own rules at rest by \d\d:\d\d:\d\d, not confirmed"
            ),
        ),
    ],
)
def test_every_word_is_told_with_its_cause(situation: Callable[[], World], words: str) -> None:
    arm = arm_told(shown(situation()))
    assert re.fullmatch(words, headline(arm))
    assert unconfirmed(arm) == []


def test_a_stop_that_is_not_confirmed_is_told_before_all_else(
    capsys: pytest.CaptureFixture[str],
) -> None:
    world = in_motion()
    world.cut("tip", 5 * S)
    world.command(ev.Stop())
    world.run_for(500_000)
    with coordinator([shown(world)]) as url:
        assert run(["joints", "--url", url]) == 0
    first, second, *_ = capsys.readouterr().out.splitlines()
    assert first == (
        "STOP NOT CONFIRMED by tip: what has not confirmed may still move: use the emergency stop "
        "that cuts the power"
    )
    assert second.startswith("small arm: moving: the stop has not reached tip")


def test_when_a_joint_rests_by_its_own_rules_is_never_told_too_early() -> None:
    for left_us in (-5_300_000, 100_000, 2_300_000, 2_999_999):
        before = datetime.now().astimezone() + timedelta(microseconds=left_us)
        told = by_own_rules(left_us)
        words = re.fullmatch(
            r"by its own rules at rest (since|by) (\d\d:\d\d:\d\d), not confirmed", told
        )
        assert words is not None
        assert words[1] == ("since" if left_us < 0 else "by")
        hour, minute, second = map(int, words[2].split(":"))
        apart_s = (hour - before.hour) * 3600 + (minute - before.minute) * 60.0
        apart_s += second - before.second - before.microsecond / 1e6
        assert 0 <= apart_s % 86400 < 60  # the second that it is rounded up to, and a busy machine


# ---- a coordinator that falls silent --------------------------------------------------------


def coordinator(arms: list[dict[str, Any]]) -> AbstractContextManager[str]:
    """One that tells these states, one after another, and then fails."""
    told = iter(arms)
    others: dict[str, dict[str, Any]] = {
        "/control": {"holder": "me", "you": "me", "watchers": 0},
        "/runs": {"run": 1},
        "/home": {"homing": 1},
        "/homings/1": HOMED | {"state": "running", "current": "tip"},
        "/runs/1": GOING,
    }

    def answer(path: str, _body: bytes) -> Answer:
        if path == "/api/v1/arm":
            value = next(told, {"detail": "it broke"})
        else:
            value = others.get(path.removeprefix("/api/v1"), {"phase": "moving", "holder": None})
        status = 500 if "detail" in value else 200
        return status, {"Content-Type": "application/json"}, json.dumps(value).encode()

    return served(answer)


@pytest.fixture(name="arm", scope="module")
def moving_arm() -> dict[str, Any]:
    return shown(in_motion())


@pytest.mark.parametrize("words", [["run", "good.nc"], ["hold"], ["stop"], ["home"]])
def test_whoever_watches_says_what_is_known_when_the_coordinator_falls_silent(
    arm: dict[str, Any],
    words: list[str],
    tmp_path: Any,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "good.nc").write_text("M2\n")
    with coordinator([arm, arm]) as url:
        assert run([*words, "--json", "--url", url]) == 4
    said = capsys.readouterr()
    errors = [one["message"] for one in json.loads(said.out)["errors"]]
    assert errors[0] == f"the coordinator at {url} failed: it broke"
    assert errors[1] == "when it answered last, the arm was: moving: test"
    assert re.fullmatch(
        r"if the coordinator has ended, every joint is by its own rules at rest by "
        r"\d\d:\d\d:\d\d, not confirmed",
        errors[2],
    )


def test_of_an_arm_that_rested_nothing_is_said_that_it_could_still_do() -> None:
    arm = shown(held())
    with coordinator([arm]) as url, Client(url) as client, pytest.raises(Failure) as failed:
        _look(client, 2)
    assert [one.message for one in failed.value.mistakes][1:] == [
        "when it answered last, the arm was: held: the operator asked"
    ]


def test_where_nothing_was_ever_heard_nothing_is_known() -> None:
    with coordinator([]) as url, Client(url) as client, pytest.raises(Unreachable):
        _look(client, 1)


def _look(client: Client, times: int) -> None:
    with watching(client) as look:
        for _ in range(times):
            look()


def test_how_long_the_joints_own_rules_take_is_what_the_rest_of_a_lost_joint_is_told_by(
    arm: dict[str, Any],
) -> None:
    """Silence of 1.5 s, the ramp and a drive's way (`core/link.py`)."""
    assert 2_500_000 < arm["rests_after_us"] < 6_000_000
    world = lost()
    told = shown(world)["condition"]["rests_by_us"]
    assert told <= world.laptop.now + shown(world)["rests_after_us"]
