"""Which arm `check` and `rehearse` are for, and that it is always said."""

import json
import math
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from coordinator.config.settings import DEMO_ARM
from tests.coordinator.cli.here import Unisono, unisono_here
from tests.coordinator.cli.servers import ARM, CHECKED, Answer, joint, served
from tests.e2e.harness import Bench
from tests.quick_arm import arm_text

PROGRAM = "G0 A-150\nM2\n"
FAR = "G0 A-171\nM2\n"
"""Beyond the range of every arm here, by its name for the joint."""
REHEARSED = ("--repetitions", "1", "--network", "quiet")
TEXT = {"Content-Type": "text/plain; charset=utf-8"}


@pytest.fixture(name="unisono")
def command_in_this_process(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Unisono:
    """The command in a folder with programs, and with no coordinator unless a test names one."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "good.nc").write_text(PROGRAM)
    (tmp_path / "far.nc").write_text(FAR)
    return unisono_here(capsys)


@pytest.fixture(name="own_arm")
def arm_file(tmp_path: Path) -> str:
    text = arm_text(1).replace('"quick arm"', '"own arm"')
    (tmp_path / "own.toml").write_text(text)
    return "own.toml"


def silent_url() -> str:
    """An address of loopback at which nobody listens."""
    with socket.create_server(("127.0.0.1", 0)) as gone:
        port = gone.getsockname()[1]
    return f"http://127.0.0.1:{port}"


@pytest.mark.parametrize("command", [("check",), ("rehearse", *REHEARSED)])
def test_the_file_that_is_named_comes_first_and_no_coordinator_is_asked(
    unisono: Unisono, jointless: Bench, own_arm: str, command: tuple[str, ...]
) -> None:
    asked = (*command, "good.nc", "--arm", own_arm, "--url", jointless.url)
    done = unisono(*asked)
    assert (done.code, done.err.splitlines()[0]) == (0, "Arm: own arm, from own.toml")
    told = json.loads(unisono(*asked, "--json").out)
    assert told["arm"] == "own arm"
    assert told["arm_source"] == {"kind": "file", "place": "own.toml"}


@pytest.mark.parametrize("command", [("check",), ("rehearse", *REHEARSED)])
def test_without_a_file_it_is_the_arm_of_the_coordinator_that_answers(
    unisono: Unisono,
    jointless: Bench,
    command: tuple[str, ...],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    done = unisono(*command, "good.nc", "--url", jointless.url)
    first = done.err.splitlines()[0]
    assert (done.code, first) == (0, f"Arm: quick arm, served at {jointless.url}")
    monkeypatch.setenv("UNISONO_URL", jointless.url)
    told = json.loads(unisono(*command, "good.nc", "--json").out)
    assert told["arm"] == "quick arm"
    assert told["arm_source"] == {"kind": "coordinator", "place": jointless.url}


@pytest.mark.parametrize("command", [("check",), ("rehearse", *REHEARSED)])
def test_where_no_coordinator_answers_it_is_the_demo_arm_and_that_is_said(
    unisono: Unisono, command: tuple[str, ...]
) -> None:
    url = silent_url()
    done = unisono(*command, "good.nc", "--url", url)
    assert (done.code, done.err.splitlines()[0]) == (
        0,
        f"Arm: bench arm, the demo arm, as no coordinator answers at {url}; --arm names another",
    )
    told = json.loads(unisono(*command, "good.nc", "--url", url, "--json").out)
    assert told["arm"] == "bench arm"
    assert told["arm_source"] == {"kind": "demo", "place": str(DEMO_ARM)}


@pytest.mark.parametrize("command", [("check",), ("rehearse", *REHEARSED)])
def test_a_program_with_mistakes_is_told_of_with_the_arm_that_it_was_held_against(
    unisono: Unisono, jointless: Bench, command: tuple[str, ...]
) -> None:
    done = unisono(*command, "far.nc", "--url", jointless.url)
    assert (done.code, done.out) == (2, "")
    assert done.err.splitlines() == [
        f"Arm: quick arm, served at {jointless.url}",
        (
            "unisono: far.nc:1:4: turntable would go to -171°, beyond its limit of -170° "
            "(range -170 to 170°)"
        ),
    ]
    told = json.loads(unisono(*command, "far.nc", "--url", jointless.url, "--json").out)
    assert (told["ok"], told["arm_source"]["kind"]) == (False, "coordinator")


def test_check_begins_at_park_where_nobody_knows_where_the_served_arm_stands(
    unisono: Unisono, jointless: Bench
) -> None:
    told = json.loads(unisono("check", "good.nc", "--url", jointless.url, "--json").out)
    assert told["begins"] == "park"


def _json(status: int, value: object) -> Answer:
    kind = "application/json" if status < 400 else "application/problem+json"
    return status, {"Content-Type": kind}, json.dumps(value).encode()


def _answers(path: str, asked: bytes) -> Answer:
    """What else may answer; the path it is asked under says how."""
    match path.split("/")[1]:
        case "check" if asked:
            return _json(200, CHECKED)
        case "check":
            return 200, TEXT, arm_text(1, "00" * 5).encode()
        case "token":
            return _json(401, {"type": "urn:unisono:problem:token", "detail": "this needs a token"})
        case "broken":
            return _json(500, {"type": "urn:unisono:problem:internal", "detail": "a mistake"})
        case "warm" if path.endswith("/arm/file"):
            return 200, TEXT, arm_text(1).encode()
        case "warm":
            return _json(200, ARM | {"joints": [joint("turntable", fan_percent=0)]})
        case "older":
            return _json(404, {"type": "urn:unisono:problem:not-found", "detail": "Not Found"})
        case "newer":
            newer = arm_text(1, "00" * 5).replace("[poses]", "mood = 7\n[poses]")
            return 200, TEXT, newer.encode()
        case "greeting":
            return 200, TEXT, b"hello"
        case "page":
            return 200, {"Content-Type": "text/html"}, b"<html>"
    raise AssertionError(path)


@pytest.fixture(name="stand_in", scope="module")
def stand_in_for_a_coordinator() -> Iterator[str]:
    with served(_answers) as url:
        yield url


def test_check_of_a_served_arm_is_the_coordinators_own_from_where_the_arm_stands(
    unisono: Unisono, stand_in: str
) -> None:
    done = unisono("check", "good.nc", "--url", f"{stand_in}/check")
    assert (done.code, done.out) == (
        0, "good.nc: no mistakes; 0 moves, 1.0 s from where the arm stands\n"
    )  # fmt: skip
    told = json.loads(unisono("check", "good.nc", "--url", f"{stand_in}/check", "--json").out)
    assert told["begins"] == "here"


def test_a_rehearsal_of_a_served_arm_tells_how_warm_it_gets_by_what_was_fitted_there(
    unisono: Unisono, stand_in: str
) -> None:
    Path("turns.nc").write_text("G0 A-140\nG4 P30\nG0 A-150\nM2\n")
    asked = ("rehearse", *REHEARSED, "turns.nc", "--url", f"{stand_in}/warm", "--json")
    once = json.loads(unisono(*asked).out)
    often = json.loads(unisono(*asked, "--loops", "4").out)
    # 41.5 °C now, to 58.4 °C with a time constant of 1320 s (the API's example).
    for told in (once, often):
        seconds = max(told["planned_s"], told["duration_us"]["most"] / 1e6)
        expected_c = 58.4 - (58.4 - 41.5) * math.exp(-seconds / 1320.0)
        found = told["highest_temperature_c"]["turntable"]
        assert found["value"] == pytest.approx(expected_c, abs=0.051)
        assert found["low"] <= found["value"] <= found["high"]
    warmer = often["highest_temperature_c"]["turntable"]["value"]
    assert warmer > once["highest_temperature_c"]["turntable"]["value"]


@pytest.mark.parametrize("command", ["check", "rehearse"])
@pytest.mark.parametrize(
    ("kind", "code", "says"),
    [
        ("token", 3, "this needs a token"),
        ("broken", 4, "failed: a mistake"),
        ("older", 4, "gives no arm file: Not Found: leave out"),
        ("newer", 4, "cannot be used: served arm:3: has an unknown key mood; name the arm by"),
        ("greeting", 4, "cannot be used: served arm:1: this is not valid TOML"),
        ("page", 4, "is no coordinator"),
    ],
)
def test_what_answers_otherwise_is_an_error_and_no_reason_for_the_demo_arm(
    unisono: Unisono, stand_in: str, command: str, kind: str, code: int, says: str
) -> None:
    done = unisono(command, "good.nc", "--url", f"{stand_in}/{kind}")
    assert (done.code, done.out) == (code, "")
    (line,) = done.err.splitlines()
    assert line.startswith("unisono: ")
    assert says in line


def test_what_takes_the_connection_and_says_nothing_is_an_error_too(
    unisono: Unisono, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("coordinator.client.asking.PATIENCE_S", 0.1)
    monkeypatch.delenv("UNISONO_CERTIFICATE", raising=False)
    with socket.create_server(("127.0.0.1", 0)) as mute:
        url = f"http://127.0.0.1:{mute.getsockname()[1]}"
        done = unisono("check", "good.nc", "--url", url)
        assert (done.code, done.out) == (4, "")
        assert f"at {url}" in done.err
        # It does not speak TLS either.
        done = unisono("check", "good.nc", "--url", url.replace("http", "https"))
        assert (done.code, done.out) == (4, "")
    with served(_answers) as url:
        done = unisono("check", "good.nc", "--url", url.replace("http", "https"))
        assert (done.code, done.out) == (4, "")


def test_remarks_on_the_served_arm_file_are_told_as_on_any_other(
    unisono: Unisono, tmp_path: Path
) -> None:
    text = arm_text(1).replace("travel_deg = 340", "travel_deg = 90")

    def answer(_path: str, asked: bytes) -> Answer:
        if asked:
            return _json(200, CHECKED | {"begins": "park"})
        return 200, TEXT, text.encode()

    with served(answer) as url:
        done = unisono("check", "good.nc", "--url", url)
    assert done.code == 0
    assert done.err.splitlines()[1].startswith(
        "Remark: served arm:19: joint turntable: homing: travel_deg is 90"
    )
