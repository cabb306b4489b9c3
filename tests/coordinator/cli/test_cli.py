"""Commands that a running coordinator answers, and addresses and figures that never reach one."""

import json
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import pytest

from coordinator.cli import run
from coordinator.client import Client, ClientError, Unreachable, WrongInput
from tests.coordinator.cli.servers import Answer, served
from tests.e2e.harness import Bench, bench

DISCARD = "http://127.0.0.1:9"
"""The discard port (RFC 863), where no coordinator answers."""


@dataclass(frozen=True, slots=True)
class Done:
    """What a command left behind."""

    code: int
    out: str
    err: str


Unisono = Callable[..., Done]


@pytest.fixture(name="unisono")
def command_in_this_process(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Unisono:
    """The command in a folder of its own, with no coordinator to reach unless a test says so."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("UNISONO_URL", DISCARD)

    def unisono(*arguments: str) -> Done:
        code = run(arguments)
        said = capsys.readouterr()
        return Done(int(code), said.out, said.err)

    return unisono


@pytest.fixture(name="arm", scope="module")
def coordinator_without_joints(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    """A real coordinator none of whose three joints is there."""
    with bench(tmp_path_factory.mktemp("arm")) as made:
        made.serve()
        yield made


def one_line(done: Done, code: int) -> str:
    """The one sentence of a command that failed in this way."""
    assert done.code == code, done
    assert "Traceback" not in done.out + done.err
    (line,) = done.err.splitlines()
    assert line.startswith("unisono: ")
    return line


@pytest.mark.parametrize(
    ("arguments", "code", "says"),
    [
        # 3: the arm is not in a state for it, and may be later
        ("home", 3, "turntable is absent"),
        ("home elbow", 3, "elbow is absent"),
        ("run good.nc", 3, "turntable is absent"),
        ("hold", 3, "no program is being played"),
        ("resume", 3, "no program is being played"),
        ("override 50", 3, "no program is being played"),
        # 2: it asks for what cannot be
        ("home knee", 2, "there is no joint 'knee'; this arm has turntable shoulder elbow"),
        ("run bad.nc", 2, "bad.nc:1:8:"),
        ("run huge.nc", 2, "huge.nc has 1400003 bytes, a program may have at most 1000000"),
        ("check huge.nc", 2, "huge.nc has 1400003 bytes"),
        ("run empty.nc", 2, "empty.nc:1:1: the program ends without M2 or M30"),
        ("report", 2, "no program has been played yet"),
        ("report 7", 2, "there was no run 7"),
        (
            "report 2147483648",
            2,
            "RUN is '2147483648', but must be less than or equal to 2147483647",
        ),
    ],
)
def test_what_the_coordinator_says_no_to_is_one_line_and_the_stated_exit_code(
    arm: Bench,
    unisono: Unisono,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    arguments: str,
    code: int,
    says: str,
) -> None:
    monkeypatch.setenv("UNISONO_URL", arm.url)
    (tmp_path / "good.nc").write_text("G0 A10\nM2\n")
    (tmp_path / "bad.nc").write_text("G0 A10 Q5\nM2\n")
    (tmp_path / "huge.nc").write_text("G0 A10\n" * 200_000 + "M2\n")
    (tmp_path / "empty.nc").write_text("")
    assert says in one_line(unisono(*arguments.split()), code)


@pytest.mark.parametrize("more", ["", ', "start": {}, "joints": [5]', ', "start": 7'])
def test_report_that_somebody_changed_is_one_line_and_still_printed_as_json(
    arm: Bench, unisono: Unisono, monkeypatch: pytest.MonkeyPatch, more: str
) -> None:
    monkeypatch.setenv("UNISONO_URL", arm.url)
    text = f'{{"run": 41, "name": "a.nc", "outcome": "finished", "message": ""{more}}}'
    with closing(sqlite3.connect(arm.data / "unisono.db")) as database, database:
        database.execute(
            "INSERT OR REPLACE INTO runs (number, name, outcome, report) VALUES (41, '', '', ?)",
            (text,),
        )
    assert "the report of run 41 lacks what belongs in it" in one_line(unisono("report", "41"), 2)
    assert json.loads(unisono("report", "41", "--json").out) == json.loads(text)


def test_joints_are_shown_and_stop_is_asked_for_at_any_time(arm: Bench, unisono: Unisono) -> None:
    shown = unisono("joints", "--json", "--url", arm.url)
    assert shown.code == 0
    assert [joint["link"] for joint in json.loads(shown.out)["joints"]] == ["absent"] * 3
    # A slash at the end of an address is no other address.
    stopped = unisono("stop", "--level", "release", "--json", "--url", f"{arm.url}/")
    # What was never heard may be moving, whatever it is asked.
    assert stopped.code == 1
    said = json.loads(stopped.out)
    assert (said["stopped"], list(said["unconfirmed"])) == ([], ["turntable", "shoulder", "elbow"])
    assert stopped.err.splitlines()[0] == (
        "unisono: turntable: stop not confirmed: it is absent and was never heard"
    )
    assert stopped.err.splitlines()[-1] == (
        "unisono: what has not confirmed may still move: use the emergency stop that cuts the power"
    )


def test_second_coordinator_is_told_which_process_has_the_folder(
    arm: Bench, unisono: Unisono
) -> None:
    (first,) = arm.processes
    done = unisono("serve", "--arm", str(arm.arm), "--data", str(arm.data), "--port", "0")
    assert f"process {first.pid}, is using" in one_line(done, 2)


def test_port_that_something_else_has_is_named(arm: Bench, unisono: Unisono) -> None:
    assert unisono("key", "new", "--data", "data").code == 0
    port = arm.url.rpartition(":")[2]
    done = unisono("serve", "--data", "data", "--port", port)
    assert f"port {port} cannot be had: something else uses it" in one_line(done, 2)


@pytest.mark.parametrize(
    ("url", "says"),
    [
        ("nonsense", "no address of a coordinator"),
        ("127.0.0.1:9", "no address of a coordinator"),
        ("file:///etc/hostname", "no address of a coordinator"),
        ("http://", "no address of a coordinator"),
        ("http://:8750", "no address of a coordinator"),
        ("http://[::1", "is no address"),
        ("http://127.0.0.1:port", "is no address"),
        ("http://127.0.0.1\x01", "is no address"),
        # Modulo 65536 this is the discard port.
        ("http://127.0.0.1:65545", "has the port 65545, which is not 1 to 65535"),
        ("http://127.0.0.1:0", "has the port 0"),
    ],
)
def test_malformed_address_is_wrong_input_whoever_listens(
    unisono: Unisono, url: str, says: str
) -> None:
    assert says in one_line(unisono("joints", "--url", url), 2)


@pytest.mark.parametrize("percent", ["4.9", "100.1", "101", "nan", "inf", "fast"])
def test_override_out_of_range_is_wrong_input_before_anybody_is_asked(
    unisono: Unisono, percent: str
) -> None:
    assert "PERCENT" in one_line(unisono("override", percent), 2)


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ("key", "Missing command"),
        ("key new --data file", "file cannot be made"),
        ("key new --data file/below", "cannot be made"),
        ("simulate --data file", "cannot be read"),
        ("serve --data file", "file/arm.key cannot be read: Not a directory"),
        ("demo --data file", "file cannot be made"),
        ("demo --network awful", "'awful' is not one of"),
        ("demo --port 65536", "65535"),
        ("serve --port -1", "greater than or equal to 0"),
        ("simulate --data data --truth absent/truth.jsonl", "absent/truth.jsonl"),
        ("simulate --data data --interface ::1", "'::1' is no IPv4 address"),
        ("simulate --data data --arm .", ". cannot be read: Is a directory"),
        ("serve --data data --arm noise.toml", "noise.toml:1: the file is not UTF-8"),
        ("check", "Missing argument 'FILE'"),
        ("check a.nc b.nc", "unexpected"),
        ("joints --port 1", "No such option: --port"),
    ],
)
def test_wrong_use_of_files_and_options_is_one_line(
    unisono: Unisono, tmp_path: Path, arguments: str, says: str
) -> None:
    (tmp_path / "file").write_text("")
    (tmp_path / "noise.toml").write_bytes(bytes(range(128, 256)))
    assert unisono("key", "new", "--data", "data").code == 0
    assert says in one_line(unisono(*arguments.split()), 2)


def test_key_and_key_files_that_are_spoilt_are_told(unisono: Unisono, tmp_path: Path) -> None:
    assert unisono("key", "new", "--data", "data").code == 0
    key = tmp_path / "data" / "arm.key"
    key.chmod(0o640)
    for command in ("simulate", "serve"):
        assert "chmod 600" in one_line(unisono(command, "--data", "data"), 2)
    key.chmod(0o600)
    key.write_text("ab" * 31)
    for command in ("simulate", "serve"):
        assert "64 hex digits" in one_line(unisono(command, "--data", "data"), 2)


def _stranger(path: str, _asked: bytes) -> Answer:
    """A web server that is no coordinator; the path it is asked under says how it answers."""
    body, kind = {
        "text": (b"hello", "text/plain"),
        "list": (b"[]", "application/json"),
        "page": (b"<html>", "text/html"),
        "zip": (b"no gzip", "application/json"),
    }[path.split("/")[1]]
    coded = {"Content-Encoding": "gzip"} if body == b"no gzip" else {}
    return 404 if kind == "text/html" else 200, {"Content-Type": kind, **coded}, body


@pytest.fixture(name="stranger")
def server_that_is_no_coordinator() -> Iterator[str]:
    with served(_stranger) as url:
        yield url


@pytest.mark.parametrize("kind", ["text", "list", "page", "zip"])
def test_server_that_is_no_coordinator_is_not_reachable_as_one(
    unisono: Unisono, stranger: str, kind: str
) -> None:
    assert "coordinator" in one_line(unisono("joints", "--url", f"{stranger}/{kind}"), 4)


def test_client_raises_nothing_but_its_own_errors() -> None:
    with Client(DISCARD) as client:
        with pytest.raises(WrongInput, match="cannot be asked for that"):
            client.override(float("nan"))
        with pytest.raises(WrongInput, match="cannot be asked for that"):
            client.play("\udcff.nc", "M2\n")  # the name of a file that is not UTF-8
        with pytest.raises(Unreachable, match="unisono serve"):
            client.arm()
        assert not client.is_up()
    with pytest.raises(ClientError):
        Client("http://[::1")


def test_text_of_check_names_moves_and_time(unisono: Unisono, tmp_path: Path) -> None:
    (tmp_path / "good.nc").write_text("G0 A10\nG1 A0 F600\nM2\n")
    done = unisono("check", "good.nc")
    assert (done.code, done.err) == (0, "")
    assert done.out.startswith("good.nc: no mistakes; 2 moves, ")
    assert done.out.splitlines()[0].endswith(" s from the pose park")


def test_text_behind_the_end_is_told_of_by_check_as_no_mistake(
    unisono: Unisono, tmp_path: Path
) -> None:
    (tmp_path / "good.nc").write_text("G0 A10\nM2\nG0 A20\n")
    done = unisono("check", "good.nc")
    assert (done.code, done.err) == (0, "")
    assert done.out.splitlines()[1] == (
        "good.nc:3:1: from here on nothing is read: the program ends on line 2"
    )


def test_run_and_check_tell_the_same_mistakes_and_no_more_of_them_than_can_be_read(
    arm: Bench, unisono: Unisono, tmp_path: Path
) -> None:
    (tmp_path / "bad.nc").write_text("G0 A171\n" + "X1\n" * 200 + "C-171\n")
    checked = unisono("check", "bad.nc", "--arm", str(arm.arm))
    played = unisono("run", "bad.nc", "--url", arm.url)
    assert (checked.code, played.code) == (2, 2)
    assert played.err == checked.err
    lines = checked.err.splitlines()
    assert lines[0].startswith("unisono: bad.nc:1:4: turntable would go to 171°")
    assert lines[99] == "unisono: bad.nc:100:1: X1 is not known; the joints are A B C"
    assert lines[100:] == ["unisono: bad.nc:101:1: from here on there are 103 more mistakes"]


def test_columns_are_characters_of_the_file_from_1(unisono: Unisono, tmp_path: Path) -> None:
    # "(°)" has three characters and four bytes.
    (tmp_path / "bad.nc").write_text("(°) G0 Q1\nM2\n", encoding="utf-8")
    done = unisono("check", "bad.nc", "--json")
    assert done.code == 2
    checked = json.loads(done.out)
    assert (checked["ok"], checked["moves"]) == (False, [])
    assert [(error["line"], error["column"]) for error in checked["errors"]] == [(1, 8)]


def test_ctrl_c_is_told_in_one_line_and_is_not_done(
    unisono: Unisono, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def pressed(_path: Path) -> str:
        raise KeyboardInterrupt

    monkeypatch.setattr("coordinator.cli.local.read_program", pressed)
    assert one_line(unisono("check", "a.nc"), 1) == "unisono: interrupted"
