"""With --json standard output carries one JSON value, however a command ends."""

import json
import os
import signal
from pathlib import Path

import pytest

from coordinator.config.settings import DEMO_ARM
from coordinator.programs.size import MAX_LONG_BYTES, MAX_PROGRAM_BYTES
from tests.coordinator.cli.here import Unisono, unisono_here
from tests.coordinator.cli.servers import ARM, HOMED, Answer, joint, served
from tests.demo_arm import line_of
from tests.e2e.harness import Bench

UNKNOWN_KEY = (
    "joint turntable: has an unknown key velocity_rpm; the nearest that is known is velocity_deg_s"
)


@pytest.fixture(name="unisono")
def command_in_this_process(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Unisono:
    """The command in a folder with wrong files, and with no coordinator unless a test names one."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "good.nc").write_text("G0 A-150\nM2\n")
    (tmp_path / "bad.nc").write_text("G0 A10 Q5\nM2\n")
    (tmp_path / "noise.nc").write_bytes(
        "M2\n(°) \xff\n".encode("latin-1").replace(b"\xb0", b"\xc2\xb0")
    )
    with (tmp_path / "huge.nc").open("wb") as huge:
        huge.truncate(MAX_LONG_BYTES + 1)
    os.mkfifo(tmp_path / "pipe.nc")
    text = DEMO_ARM.read_text()
    (tmp_path / "unit.toml").write_text(
        text.replace("velocity_deg_s", "velocity_rpm", 1).replace("gear_ratio = 20.0", "", 1)
    )
    (tmp_path / "open.toml").write_text("name = \n")
    (tmp_path / "noise.toml").write_bytes(b"name = 'x'\n\xff")
    return unisono_here(capsys)


@pytest.mark.parametrize("command", ["check", "rehearse", "run"])
@pytest.mark.parametrize(
    ("file", "message", "line", "column"),
    [
        ("noise.nc", "the program is not UTF-8 text", 2, 5),
        ("nowhere.nc", "nowhere.nc cannot be read: No such file or directory", None, None),
        (".", ". cannot be read: Is a directory", None, None),
        ("huge.nc", "huge.nc has 32000001 bytes, a program may have at most LIMIT", None, None),
        ("pipe.nc", "pipe.nc cannot be read: it is a pipe, not a regular file", None, None),
    ],
)
def test_a_program_that_cannot_be_read_is_told_of_in_json(
    unisono: Unisono, command: str, file: str, message: str, line: int | None, column: int | None
) -> None:
    done = unisono(command, file, "--json")
    assert done.code == 2
    # What is rehearsed is held whole by every process that plays it.
    limit = MAX_PROGRAM_BYTES if command == "rehearse" else MAX_LONG_BYTES
    message = message.replace("LIMIT", str(limit))
    assert done.errors == [{"message": message, "file": file, "line": line, "column": column}]
    assert len(done.err.splitlines()) == 1


def test_a_program_that_the_system_does_not_let_read_is_told_of_in_json(unisono: Unisono) -> None:
    """proc(5): nobody can read a process's memory at address 0, root neither."""
    (error,) = unisono("check", "/proc/self/mem", "--json").errors
    assert error["message"] == "/proc/self/mem cannot be read: Input/output error"


@pytest.mark.parametrize("command", ["check", "rehearse", "run"])
def test_a_programs_mistakes_are_told_alike_by_all_who_read_it(
    jointless: Bench, unisono: Unisono, command: str
) -> None:
    done = unisono(command, "bad.nc", "--json", "--url", jointless.url)
    assert done.code == 2
    (error,) = done.errors
    assert (error["file"], error["line"], error["column"]) == ("bad.nc", 1, 8)
    assert error["message"].startswith("Q5 is a peck's depth")
    assert done.err == f"unisono: bad.nc:1:8: {error['message']}\n"


@pytest.mark.parametrize(
    "command", ["check good.nc", "rehearse good.nc", "simulate --data data", "serve --data data"]
)
def test_an_arm_files_mistakes_are_told_with_their_lines(unisono: Unisono, command: str) -> None:
    done = unisono(*command.split(), "--arm", "unit.toml", "--json")
    assert done.code == 2
    places = [(error["file"], error["line"], error["column"]) for error in done.errors]
    first, unknown = line_of("[[joints]]"), line_of("velocity_deg_s")
    assert places == [("unit.toml", line, None) for line in (first, first, unknown)]
    assert [error["message"] for error in done.errors] == [
        "joint turntable: lacks gear_ratio",
        "joint turntable: lacks velocity_deg_s",
        UNKNOWN_KEY,
    ]
    for file, line, message in (
        ("open.toml", 1, "this is not valid TOML: Invalid value"),
        ("noise.toml", 2, "the file is not UTF-8"),
        ("nowhere.toml", None, "nowhere.toml cannot be read: No such file or directory"),
    ):
        done = unisono(*command.split(), "--arm", file, "--json")
        assert done.code == 2
        assert done.errors == [{"message": message, "file": file, "line": line, "column": None}]


@pytest.mark.parametrize(
    ("arguments", "code", "says"),
    [
        ("joints", 4, "no coordinator answers"),
        ("home", 4, "no coordinator answers"),
        ("hold", 4, "the hold was not delivered, and the arm may move: no coordinator answers"),
        ("resume", 4, "no coordinator answers"),
        ("stop", 4, "nothing was stopped, and the arm may move: use the emergency stop"),
        ("override 50", 4, "no coordinator answers"),
        ("control", 4, "no coordinator answers"),
        ("warnings", 4, "no coordinator answers"),
        ("report", 4, "no coordinator answers"),
        ("override 200", 2, "PERCENT is '200'"),
        ("check", 2, "Missing argument 'FILE'"),
        ("nonsense", 2, "nonsense"),
        ("simulate --data absent", 2, "unisono key new"),
        ("serve --data absent", 2, "unisono key new"),
        ("token new --data absent", 2, "unisono key new"),
        ("key new --data good.nc", 2, "good.nc cannot be made"),
        ("demo --data good.nc --port 0", 2, "good.nc cannot be made"),
        ("check good.nc --plot a.png", 2, "must end in .svg"),
        ("rehearse good.nc --plot a.png", 2, "must end in .svg"),
    ],
)
def test_whatever_a_command_could_not_do_is_told_in_one_json_value_and_one_line(
    unisono: Unisono, arguments: str, code: int, says: str
) -> None:
    done = unisono(*arguments.split(), "--json")
    assert done.code == code
    (error,) = done.errors
    assert says in error["message"]
    assert error["file"] is error["line"] is error["column"] is None
    assert done.err == f"unisono: {error['message']}\n"
    # Without it nothing is on standard output.
    assert unisono(*arguments.split()).out == ""


def test_what_the_coordinator_refuses_is_told_in_json(jointless: Bench, unisono: Unisono) -> None:
    done = unisono("run", "good.nc", "--json", "--url", jointless.url)
    assert done.code == 3
    assert [error["message"] for error in done.errors] == [
        "turntable is offline: not found on the network"
    ]


def test_a_command_that_has_told_its_result_tells_no_second_value(
    jointless: Bench, unisono: Unisono
) -> None:
    done = unisono("stop", "--json", "--url", jointless.url)
    assert done.code == 1
    assert json.loads(done.out)["unconfirmed"].keys() == {"turntable", "shoulder", "elbow"}
    assert done.err.count("stop not confirmed") == 3


def test_a_coordinator_that_goes_once_the_result_is_told_adds_no_second_value(
    unisono: Unisono,
) -> None:
    def answer(path: str, _asked: bytes) -> Answer:
        told = {
            "/arm": ARM | {"joints": [joint("base")]},
            "/home": {"homing": 1},
            "/homings/1": HOMED | {"state": "failed", "message": "no edge"},
        }.get(path.removeprefix("/api/v1"), {})
        return 200, {"Content-Type": "application/json"}, json.dumps(told).encode()

    with served(answer) as url:
        done = unisono("home", "--json", "--url", url)
    assert (done.code, json.loads(done.out)["state"]) == (1, "failed")
    assert done.err.splitlines()[-1] == "unisono: homing failed: no edge"


def test_an_interrupted_command_is_told_in_json(
    unisono: Unisono, monkeypatch: pytest.MonkeyPatch
) -> None:
    def pressed(_path: Path, _limit: int) -> str:
        raise KeyboardInterrupt

    monkeypatch.setattr("coordinator.cli.local.read_program", pressed)
    done = unisono("check", "good.nc", "--json")
    assert done.code == 1
    assert [error["message"] for error in done.errors] == ["interrupted"]


def test_a_port_that_is_taken_is_told_in_json(jointless: Bench, unisono: Unisono) -> None:
    assert unisono("key", "new", "--data", "data").code == 0
    port = jointless.url.rpartition(":")[2]
    for command in ("serve", "demo"):
        done = unisono(command, "--data", "data", "--port", port, "--json")
        assert done.code == 2
        (error,) = done.errors
        assert error["message"] == f"port {port} cannot be had: something else uses it"


def test_software_joints_that_are_ended_have_told_one_value(jointless: Bench) -> None:
    joints = jointless.simulate()
    assert joints.ready["network"] == "quiet"
    assert joints.end(signal.SIGTERM) == 0
    assert joints.popen.stdout is not None
    assert joints.popen.stdout.read() == ""
