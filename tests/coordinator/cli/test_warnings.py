"""`unisono warnings`: what stands, since when, what to do, and that it was seen."""

import json
from datetime import datetime
from typing import Any

import pytest

from coordinator.api.responses import arm
from coordinator.api.responses.base import plain
from coordinator.cli.command import run
from tests.coordinator.cli.servers import Answer, served

WARNING: dict[str, Any] = {
    "id": 3,
    "joint": "elbow",
    "code": "supply-low",
    "level": "attention",
    "message": "elbow had 19.1 V when this began, below its warning at 20 V; below 18 V it stops",
    "advice": "measure the supply",
    "since_us": 5,
    "since_utc": "2026-05-04T10:11:12+00:00",
    "acknowledged": False,
    "state": "unacknowledged",
    "priority": "medium",
    "origin": "supply",
    "cause": "a loose plug",
    "consequence": "it stops",
    "episode": 3,
    "first_out": False,
}
SHELF: dict[str, Any] = plain(arm.SHELF)
NO_ALARMS: dict[str, Any] = {"returned": [], "shelved": [], "flood": None}


class Coordinator:
    """What answers in its place, and what it was asked."""

    def __init__(self, *standing: dict[str, Any], **alarms: Any) -> None:
        self.standing = standing
        self.alarms = NO_ALARMS | alarms
        self.asked: list[str] = []

    def __call__(self, path: str, body: bytes) -> Answer:
        self.asked.append(f"{path} {body.decode()}".strip())
        if path == "/api/v1/warnings":
            told = {"warnings": self.standing, "alarms": self.alarms}
            return 200, {}, json.dumps(told).encode()
        if path in ("/api/v1/warnings/3/shelve", "/api/v1/warnings/3/unshelve"):
            return 200, {}, json.dumps(SHELF).encode()
        for one in self.standing:
            if path == f"/api/v1/warnings/{one['id']}/acknowledge":
                shelved = one["state"] == "shelved"
                told = one if shelved else one | {"acknowledged": True, "state": "acknowledged"}
                return 200, {}, json.dumps(told).encode()
        detail = {"type": "urn:unisono:problem:not-found", "detail": "no warning 4 stands"}
        return 404, {}, json.dumps(detail).encode()


def asked(
    coordinator: Coordinator, capsys: pytest.CaptureFixture[str], *arguments: str
) -> tuple[int, str, str]:
    """Exit code, output and errors of the command."""
    with served(coordinator) as url:
        code = run(["warnings", "--url", url, *arguments])
    said = capsys.readouterr()
    return int(code), said.out, said.err


def test_each_warning_has_its_number_level_joint_time_message_and_advice(
    capsys: pytest.CaptureFixture[str],
) -> None:
    seen = WARNING | {
        "id": 4, "level": "danger", "joint": "tool", "acknowledged": True, "priority": "high",
        "state": "acknowledged", "first_out": True,
    }  # fmt: skip
    code, out, _ = asked(Coordinator(WARNING, seen), capsys)
    since = datetime.fromisoformat("2026-05-04T10:11:12+00:00").astimezone()
    at = f"{since:%Y-%m-%d %H:%M:%S}"
    assert code == 0
    assert out.splitlines() == [
        f"3: attention, medium priority: elbow, supply-low since {at}, unacknowledged",
        "  elbow had 19.1 V when this began, below its warning at 20 V; below 18 V it stops",
        "  What to do: measure the supply.",
        "  Likely cause: a loose plug. If nobody acts: it stops.",
        (
            f"4: danger, high priority: tool, supply-low since {at}, acknowledged, the first of "
            "those that came together"
        ),
        "  elbow had 19.1 V when this began, below its warning at 20 V; below 18 V it stops",
        "  What to do: measure the supply.",
        "  Likely cause: a loose plug. If nobody acts: it stops.",
    ]


def test_an_arm_that_is_well_says_so(capsys: pytest.CaptureFixture[str]) -> None:
    assert asked(Coordinator(), capsys) == (0, "no warnings\n", "")
    code, out, _ = asked(Coordinator(), capsys, "--json")
    assert (code, json.loads(out)) == (0, {"warnings": [], "alarms": NO_ALARMS})


def test_one_that_was_seen_is_told_to_the_coordinator(capsys: pytest.CaptureFixture[str]) -> None:
    coordinator = Coordinator(WARNING)
    code, out, _ = asked(coordinator, capsys, "--acknowledge", "3")
    assert coordinator.asked == ["/api/v1/warnings/3/acknowledge"]
    assert (code, out) == (0, f"acknowledged: {WARNING['message']}\n")
    _, out, _ = asked(coordinator, capsys, "--acknowledge", "3", "--json")
    seen = WARNING | {"acknowledged": True, "state": "acknowledged"}
    assert json.loads(out) == {"warnings": [seen]}


def test_one_on_the_shelf_is_not_said_to_be_acknowledged(
    capsys: pytest.CaptureFixture[str],
) -> None:
    coordinator = Coordinator(WARNING | {"state": "shelved"}, shelved=[SHELF])
    code, out, _ = asked(coordinator, capsys, "--acknowledge", "3")
    assert (code, out) == (
        0, f"shelved, and not acknowledged: {WARNING['message']}\n"
    )  # fmt: skip


def test_a_number_that_does_not_stand_is_wrong_input(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = asked(Coordinator(WARNING), capsys, "--acknowledge", "4")
    assert (code, out, err) == (2, "", "unisono: no warning 4 stands\n")
    assert asked(Coordinator(WARNING), capsys, "--acknowledge", "0")[0] == 2


def test_what_is_shelved_is_counted_first_whether_it_is_so_or_not(
    capsys: pytest.CaptureFixture[str],
) -> None:
    over = SHELF | {"id": 5, "stands": False}
    _, out, _ = asked(Coordinator(shelved=[SHELF, over]), capsys)
    until = datetime.fromisoformat(SHELF["until_utc"]).astimezone()
    assert out.splitlines() == [
        "2 shelved, which give no sign:",
        f"  2: wrist, link-lossy by the bench until {until:%Y-%m-%d %H:%M:%S}; it is so",
        f"  5: wrist, link-lossy by the bench until {until:%Y-%m-%d %H:%M:%S}; it is not so now",
        "no warnings",
    ]


def test_a_flood_is_told_first_and_groups_what_stands_by_where_it_comes_from(
    capsys: pytest.CaptureFixture[str],
) -> None:
    heat = WARNING | {"id": 1, "origin": "heat"}
    flood = {"since_us": 5, "count": 12, "by_origin": {"supply": 11, "heat": 1}}
    _, out, _ = asked(Coordinator(heat, WARNING, flood=flood), capsys)
    first, *rest = out.splitlines()
    assert first.startswith("flood: 12 alarms began within ten minutes (11 of supply, 1 of heat)")
    assert [line.partition(":")[0] for line in rest if not line.startswith(" ")] == ["3", "1"]


def test_one_that_is_over_and_that_nobody_saw_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    over = WARNING | {"state": "returned"}
    _, out, _ = asked(Coordinator(returned=[over]), capsys)
    assert out.splitlines()[1] == (f"  Over, but nobody has acknowledged it: {WARNING['message']}")
    assert "no warnings" not in out


def test_one_is_shelved_for_so_long_and_taken_off_again(capsys: pytest.CaptureFixture[str]) -> None:
    coordinator = Coordinator(WARNING)
    code, out, _ = asked(coordinator, capsys, "--shelve", "3", "--for", "600")
    assert coordinator.asked == ['/api/v1/warnings/3/shelve {"for_s":600.0}']
    assert (code, out.partition(" until")[0]) == (0, "shelved: 2: wrist, link-lossy by the bench")
    code, out, _ = asked(coordinator, capsys, "--unshelve", "3")
    assert (code, out) == (0, "off the shelf: wrist, link-lossy\n")
    assert asked(coordinator, capsys, "--shelve", "3", "--for", "10")[0] == 2
    for alone in (["--for", "600"], ["--for", "600", "--unshelve", "3"]):
        code, _, err = asked(coordinator, capsys, *alone)
        assert (code, err) == (2, "unisono: --for says how long --shelve puts one aside: name it\n")
    assert asked(coordinator, capsys, "--shelve", "3", "--for", "nan")[0] == 2
    code, _, err = asked(coordinator, capsys, "--shelve", "3", "--unshelve", "3")
    assert (code, err) == (
        2, "unisono: name one of --acknowledge, --shelve and --unshelve at a time\n"
    )  # fmt: skip


def test_a_coordinator_of_before_there_were_states_is_understood(
    capsys: pytest.CaptureFixture[str],
) -> None:
    new = {"state", "priority", "origin", "cause", "consequence", "episode", "first_out"}
    old = {name: value for name, value in WARNING.items() if name not in new}

    def answer(_path: str, _body: bytes) -> Answer:
        return 200, {}, json.dumps({"warnings": [old | {"acknowledged": True}]}).encode()

    with served(answer) as url:
        assert run(["warnings", "--url", url]) == 0
    head, *rest = capsys.readouterr().out.splitlines()
    assert head.startswith("3: attention, medium priority: elbow, supply-low since")
    assert head.endswith(", acknowledged")
    assert len(rest) == 2
