"""Commands that a running coordinator answers, and addresses and figures that never reach one."""

import json
import socket
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import httpx2
import pytest

from coordinator.cli.condition import BEWARE
from coordinator.client import Client, ClientError, Unreachable, WrongInput
from coordinator.config.settings import DEMO_ARM
from coordinator.programs.size import MAX_LONG_BYTES
from tests.coordinator.cli.here import Done, Unisono, unisono_here
from tests.coordinator.cli.servers import Answer, served
from tests.e2e.harness import Bench

DISCARD = "http://127.0.0.1:9"
"""The discard port (RFC 863), where no coordinator answers."""


@pytest.fixture(name="unisono")
def command_in_this_process(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Unisono:
    """The command in a folder of its own, with no coordinator to reach unless a test says so."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("UNISONO_URL", DISCARD)
    return unisono_here(capsys)


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
        ("home", 3, "turntable is offline"),
        ("home elbow", 3, "elbow is offline"),
        ("run good.nc", 3, "turntable is offline"),
        ("hold", 3, "no program is being played"),
        ("resume", 3, "no program is being played"),
        ("override 50", 3, "no program is being played"),
        # 2: it asks for what cannot be
        ("home knee", 2, "there is no joint 'knee'; this arm has turntable shoulder elbow"),
        ("run bad.nc", 2, "bad.nc:1:8:"),
        ("run huge.nc", 2, "huge.nc has 32000001 bytes, a program may have at most 32000000"),
        ("check huge.nc", 2, "huge.nc has 32000001 bytes"),
        ("run empty.nc", 2, "empty.nc:1:1: the program ends without M2 or M30"),
        ("report", 2, "no program has been played yet"),
        ("report 7", 2, "there was no run 7"),
        (
            "report 2147483648",
            2,
            "RUN is '2147483648', but must be a whole number from 1 to 2147483647",
        ),
    ],
)
def test_what_the_coordinator_says_no_to_is_one_line_and_the_stated_exit_code(
    jointless: Bench,
    unisono: Unisono,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    arguments: str,
    code: int,
    says: str,
) -> None:
    monkeypatch.setenv("UNISONO_URL", jointless.url)
    (tmp_path / "good.nc").write_text("G0 A10\nM2\n")
    (tmp_path / "bad.nc").write_text("G0 A10 Q5\nM2\n")
    with (tmp_path / "huge.nc").open("wb") as huge:
        huge.truncate(MAX_LONG_BYTES + 1)
    (tmp_path / "empty.nc").write_text("")
    assert says in one_line(unisono(*arguments.split()), code)


def test_program_whose_name_is_no_text_is_played_as_any_other(
    jointless: Bench, unisono: Unisono, tmp_path: Path
) -> None:
    (tmp_path / "\udcff.nc").write_text("G0 A-150\nM2\n")
    said = one_line(unisono("run", "\udcff.nc", "--url", jointless.url), 3)
    assert "turntable is offline" in said


@pytest.mark.parametrize("more", ["", ', "start": {}, "joints": [5]', ', "start": 7'])
def test_report_that_somebody_changed_is_one_line_and_still_printed_as_json(
    jointless: Bench, unisono: Unisono, monkeypatch: pytest.MonkeyPatch, more: str
) -> None:
    monkeypatch.setenv("UNISONO_URL", jointless.url)
    text = f'{{"run": 41, "name": "a.nc", "outcome": "finished", "message": ""{more}}}'
    with closing(sqlite3.connect(jointless.data / "unisono.db")) as database, database:
        database.execute(
            "INSERT OR REPLACE INTO runs (number, name, outcome, report) VALUES (41, '', '', ?)",
            (text,),
        )
    assert "the report of run 41 lacks what belongs in it" in one_line(unisono("report", "41"), 2)
    assert json.loads(unisono("report", "41", "--json").out) == json.loads(text)


def test_record_of_a_run_is_written_to_the_file_that_is_named(
    jointless: Bench, unisono: Unisono, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("UNISONO_URL", jointless.url)
    with closing(sqlite3.connect(jointless.data / "unisono.db")) as database, database:
        database.execute(
            "INSERT OR REPLACE INTO runs (number, name, outcome, report) VALUES (42, '', '', ?)",
            ('{"run": 42, "name": "a.nc", "outcome": "finished", "message": ""}',),
        )
    done = unisono("report", "42", "--record", "run.html")
    assert (done.code, done.out) == (0, "run.html is the record of run 42\n")
    assert "Run 42: a.nc" in Path("run.html").read_text(encoding="utf-8")
    told = json.loads(unisono("report", "42", "--record", "run.html", "--json").out)
    assert told == {"run": 42, "record": "run.html"}
    said = one_line(unisono("report", "42", "--record", "run.pdf"), 2)
    assert "--record is run.pdf, but must end in .html" in said
    said = one_line(unisono("report", "42", "--record", "a/run.html"), 2)
    assert "there is no such folder" in said


def test_joints_are_shown_and_stop_is_asked_for_at_any_time(
    jointless: Bench, unisono: Unisono
) -> None:
    shown = unisono("joints", "--json", "--url", jointless.url)
    assert shown.code == 0
    told = json.loads(shown.out)
    assert [joint["link"] for joint in told["joints"]] == ["offline"] * 3
    assert told["condition"]["word"] == "not known"
    text = unisono("joints", "--url", jointless.url).out
    assert ": not known: turntable, shoulder and elbow are offline" in text.splitlines()[0]
    assert "turntable is offline: not found on the network" in text
    # A slash at the end of an address is no other address.
    stopped = unisono("stop", "--level", "release", "--json", "--url", f"{jointless.url}/")
    # What was never heard may be moving, whatever it is asked.
    assert stopped.code == 1
    said = json.loads(stopped.out)
    assert (said["stopped"], list(said["unconfirmed"])) == ([], ["turntable", "shoulder", "elbow"])
    assert stopped.err.splitlines()[:2] == [
        f"unisono: STOP NOT CONFIRMED by turntable shoulder elbow: {BEWARE}",
        "unisono: turntable: stop not confirmed: it is offline: not found on the network",
    ]
    assert stopped.err.splitlines()[4:] == [
        "unisono: not known: the stop has not reached turntable, shoulder and elbow",
    ]


@pytest.mark.parametrize("command", ["home", "resume", "override 50"])
def test_whoever_has_no_control_is_told_who_has_and_how_to_take_it(
    jointless: Bench, unisono: Unisono, command: str
) -> None:
    page = {"Unisono-Client": "somebody-else", "Unisono-Client-Name": "the phone"}
    with httpx2.Client(base_url=f"{jointless.url}/api/v1", trust_env=False, headers=page) as phone:
        phone.post("/control/take").raise_for_status()
        done = unisono(*command.split(), "--url", jointless.url)
        phone.post("/control/release").raise_for_status()
    said = done.err.splitlines()[-1]  # a stop of before may not be confirmed, which comes first
    assert done.code == 3
    assert "the phone has control and commanded " in said
    assert said.endswith("; take control first, which holds what moves ('unisono control take')")


def test_second_coordinator_is_told_which_process_has_the_folder(
    jointless: Bench, unisono: Unisono
) -> None:
    (first,) = jointless.processes
    done = unisono(
        "serve", "--arm", str(jointless.arm), "--data", str(jointless.data), "--port", "0"
    )
    assert f"process {first.pid}, is using" in one_line(done, 2)


def test_port_that_something_else_has_is_named(jointless: Bench, unisono: Unisono) -> None:
    assert unisono("key", "new", "--data", "data").code == 0
    port = jointless.url.rpartition(":")[2]
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
        ("http://127.0.0.1:9?a=1", "no address of a coordinator"),
        ("http://127.0.0.1:9#a", "no address of a coordinator"),
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


def test_path_in_an_address_is_told_to_be_left_out(jointless: Bench, unisono: Unisono) -> None:
    said = one_line(unisono("joints", "--url", f"{jointless.url}/foo"), 2)
    assert (
        said
        == f"unisono: Not Found: leave out of {jointless.url}/foo what follows its host and port"
    )


def test_coordinator_that_speaks_no_https_is_told_to_be_asked_by_http(
    jointless: Bench, unisono: Unisono
) -> None:
    url = jointless.url.replace("http", "https")
    said = one_line(unisono("joints", "--url", url), 4)
    assert f"what answers at {url} speaks no HTTPS; a coordinator on loopback is asked by " in said


def test_coordinator_that_speaks_https_only_is_told_to_be_asked_by_it(unisono: Unisono) -> None:
    """As uvicorn closes a connection that begins with something else than TLS."""
    with socket.create_server(("127.0.0.1", 0)) as server:

        def hang_up() -> None:
            connection, _ = server.accept()
            connection.recv(1_000)
            connection.close()

        closing = threading.Thread(target=hang_up)
        closing.start()
        said = one_line(
            unisono("joints", "--url", f"http://127.0.0.1:{server.getsockname()[1]}"), 4
        )
        closing.join()
    assert said.endswith("; one that was started with --listen is asked by https://")


def test_whoever_needs_a_token_is_told_where_it_is_taken_from(unisono: Unisono) -> None:
    body = b'{"type": "urn:unisono:problem:token", "detail": "this needs a token"}'
    with served(lambda *_asked: (401, {"Content-Type": "application/problem+json"}, body)) as url:
        said = one_line(unisono("joints", "--url", url), 3)
    assert said == "unisono: this needs a token (it is taken from UNISONO_TOKEN)"


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
        ("demo --port 0 --data file", "file cannot be made"),
        ("demo --network awful", "'awful' is not one of"),
        ("demo --port 65536", "65535"),
        ("demo --port 0 --truth file/truth.jsonl", "file/truth.jsonl: Not a directory"),
        ("serve --port -1", "--port is '-1', but must be a whole number from 0 to 65535"),
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


@pytest.mark.parametrize("command", ["demo --port 0", "serve --port 0", "simulate"])
def test_service_that_cannot_be_is_told_once(
    unisono: Unisono, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command: str
) -> None:
    if command.startswith("demo"):
        data = "new"
    else:
        assert unisono("key", "new", "--data", "data").code == 0
        data = "data"
    monkeypatch.setenv("UNISONO_SERVICE", "___")
    said = one_line(unisono(*command.split(), "--data", data), 2)
    assert said.startswith("unisono: UNISONO_SERVICE is '___', but must be ")
    assert not (tmp_path / "new").exists()


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


NOBODYS = (b"{}", b'{"message": "ok"}', b'{"detail": "ok"}')
"""What some other service may answer."""


@pytest.mark.parametrize("answer", NOBODYS)
@pytest.mark.parametrize(
    "command",
    ["joints", "home", "run good.nc", "hold", "resume", "stop", "override 50", "control", "report",
     "report 3", "journal",
     "warnings", "warnings --acknowledge 3", "check good.nc", "rehearse good.nc"],
)  # fmt: skip
def test_service_that_answers_something_else_in_json_is_no_coordinator_either(
    unisono: Unisono, tmp_path: Path, command: str, answer: bytes
) -> None:
    (tmp_path / "good.nc").write_text("G0 A10\nM2\n")
    with served(lambda *_asked: (200, {"Content-Type": "application/json"}, answer)) as url:
        done = unisono(*command.split(), "--url", url)
    assert f"what answers at {url} is no coordinator" in one_line(done, 4)


def test_token_that_no_header_can_carry_is_named(
    unisono: Unisono, monkeypatch: pytest.MonkeyPatch
) -> None:
    for token in ("a\nb", "ü"):
        monkeypatch.setenv("UNISONO_TOKEN", token)
        said = one_line(unisono("joints", "--url", "https://127.0.0.1:9"), 2)
        assert "the token has characters that no token has" in said


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
    done = unisono("check", "good.nc", "--arm", str(DEMO_ARM))
    assert (done.code, done.err) == (0, f"Arm: bench arm, from {DEMO_ARM}\n")
    assert done.out.startswith("good.nc: no mistakes; 2 moves, ")
    assert done.out.splitlines()[0].endswith(" s from the pose park")


def test_text_behind_the_end_is_told_of_by_check_as_no_mistake(
    unisono: Unisono, tmp_path: Path
) -> None:
    (tmp_path / "good.nc").write_text("G0 A10\nM2\nG0 A20\n")
    done = unisono("check", "good.nc")
    assert done.code == 0
    assert done.out.splitlines()[1] == (
        "good.nc:3:1: from here on nothing is read: the program ends on line 2"
    )


def test_run_and_check_tell_the_same_mistakes_and_no_more_of_them_than_can_be_read(
    jointless: Bench, unisono: Unisono, tmp_path: Path
) -> None:
    (tmp_path / "bad.nc").write_text("G0 A171\n" + "X1\n" * 200 + "C-171\n")
    played = unisono("run", "bad.nc", "--url", jointless.url)
    for which in (("--arm", str(jointless.arm)), ("--url", jointless.url)):
        checked = unisono("check", "bad.nc", *which)
        assert (checked.code, played.code) == (2, 2)
        assert played.err.splitlines() == checked.err.splitlines()[1:]
    lines = played.err.splitlines()
    assert lines[0].startswith("unisono: bad.nc:1:4: turntable would go to 171°")
    assert lines[99] == (
        "unisono: bad.nc:100:1: X1 is the target of a linear axis (NISTIR 6556 §3.5.1), "
        "and not taken here; the joints are A B C"
    )
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
    def pressed(_path: Path, _limit: int) -> str:
        raise KeyboardInterrupt

    monkeypatch.setattr("coordinator.cli.local.read_program", pressed)
    assert one_line(unisono("check", "a.nc"), 1) == "unisono: interrupted"
