"""Every command with wrong input: one line that names it, the stated exit code, no traceback."""

import json
import os
import socket
from collections.abc import Callable
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path

import pytest
from rich.console import Console

from coordinator.cli.command import run
from coordinator.cli.common import err, out
from coordinator.config.settings import DEMO_ARM
from tests.demo_arm import line_of

NOBODY = "http://127.0.0.1:9"
"""The discard port (RFC 863), where no coordinator answers."""
COMMANDS = (
    "simulate", "serve", "demo", "check", "joints", "home", "run", "hold", "resume", "stop",
    "override", "report", "key new",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Done:
    """What a command left behind."""

    returncode: int
    stdout: str
    stderr: str


Unisono = Callable[..., Done]


@pytest.fixture
def unisono(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Unisono:
    """The command, in this process, in a folder of its own, with no coordinator to reach."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("UNISONO_URL", NOBODY)
    monkeypatch.setenv("COLUMNS", "100")

    def unisono(*arguments: str) -> Done:
        code = run(arguments)
        said = capsys.readouterr()
        return Done(int(code), said.out, said.err)

    return unisono


RANGE_MISTAKE = f"range.toml:{line_of('[-170, 170]')}: joint turntable: range_deg"


@pytest.fixture
def folder(tmp_path: Path, unisono: Unisono) -> Path:
    """A folder with a key, and files that are right and wrong."""
    (tmp_path / "good.nc").write_text("G0 A10\nM2\n")
    (tmp_path / "bad.nc").write_text("G0 A10 Q5\nG1 B3\nM2\n")
    (tmp_path / "far.nc").write_text("G0 A10\nG0 C171.5\nM2\n")
    (tmp_path / "noise.nc").write_bytes(bytes(range(128, 256)))
    text = DEMO_ARM.read_text()
    (tmp_path / "unit.toml").write_text(text.replace("velocity_deg_s", "velocity_rpm", 1))
    (tmp_path / "bom.toml").write_text(text, encoding="utf-8-sig")
    (tmp_path / "folder.svg").mkdir()
    (tmp_path / "keyed").mkdir()
    for pipe in ("pipe", "pipe.svg", "keyed/arm.key"):
        os.mkfifo(tmp_path / pipe, 0o600)
    (tmp_path / "range.toml").write_text(text.replace("[-170, 170]", "[170, -170]", 1))
    assert unisono("key", "new", "--data", "data").returncode == 0
    return tmp_path


@pytest.mark.parametrize(
    ("arguments", "code", "says"),
    [
        ("joints", 4, "no coordinator answers at http://127.0.0.1:9"),
        ("home", 4, "no coordinator answers"),
        ("run good.nc", 4, "no coordinator answers"),
        ("hold", 4, "no coordinator answers"),
        ("resume", 4, "no coordinator answers"),
        ("stop", 4, "no coordinator answers"),
        ("override 50", 4, "no coordinator answers"),
        ("report", 4, "no coordinator answers"),
        ("joints --url ftp://x", 2, "ftp://x"),
        ("run nowhere.nc", 2, "nowhere.nc cannot be read"),
        ("run .", 2, "cannot be read"),
        ("check nowhere.nc", 2, "nowhere.nc cannot be read"),
        ("check noise.nc", 2, "not UTF-8"),
        ("check good.nc --arm nowhere.toml", 2, "nowhere.toml cannot be read"),
        (
            "check good.nc --arm range.toml",
            2,
            f"range.toml:{line_of('[-170, 170]')}: joint turntable: range_deg",
        ),
        ("check far.nc", 2, "far.nc:2:4: elbow would go to 171.5°, beyond its limit of 130°"),
        ("stop --level hard", 2, "--level: 'hard' is not one of 'stop', 'stop-and-release', 'rel"),
        ("stop --level hard", 2, "; see 'unisono stop --help'"),
        ("override fast", 2, "PERCENT is 'fast', but must be a number from 5 to 100; see 'unisono"),
        ("override 200", 2, "PERCENT is '200', but must be a number from 5 to 100; see 'unisono"),
        ("override nan", 2, "PERCENT is 'nan', but must be a number from 5 to 100"),
        ("override -inf", 2, "PERCENT is '-inf', but must be a number from 5 to 100"),
        ("override -50", 2, "PERCENT is '-50', but must be a number from 5 to 100"),
        ("report first", 2, "RUN is 'first', but must be a whole number from 1 to 2147483647"),
        ("report 0", 2, "RUN is '0', but must be a whole number from 1 to 2147483647"),
        ("report -1", 2, "RUN is '-1', but must be a whole number from 1 to 2147483647"),
        ("journal --limit 501", 2, "--limit is '501', but must be a whole number from 1 to 500"),
        (
            "rehearse good.nc --repetitions 0",
            2,
            "--repetitions is '0', but must be a whole number ",
        ),
        ("simulate --data data --seed x", 2, "--seed is 'x', but must be a whole number; see"),
        ("key", 2, "Missing command; see 'unisono key --help'"),
        ("home --xyz", 2, "No such option: --xyz; see 'unisono home --help'"),
        ("jions", 2, "No such command 'jions'. Did you mean 'joints'"),
        ("run good.nc far.nc", 2, "Got unexpected extra argument(s) (far.nc); see 'unisono run -"),
        ("simulate --data data --network awful", 2, "'awful' is not one of 'none', 'quiet', "),
        ("demo --network none", 2, "'none' is not one of 'quiet', 'home', 'busy', 'hostile'"),
        ("rehearse good.nc --network none", 2, "'none' is not one of 'quiet', 'home', 'busy', "),
        ("simulate --data data --only nobody", 2, "no joint 'nobody'; bench arm has turntable "),
        ("simulate --data data --interface 192.0.2.1", 2, "no interface of this host"),
        ("simulate --data empty", 2, "unisono key new"),
        ("serve --data empty", 2, "unisono key new"),
        ("serve --data data --port 65536", 2, "65535"),
        ("serve --data data --interface here", 2, "'here' is no IPv4 address"),
        (
            "serve --data data --interface 0.0.0.0",
            2,
            "--interface is 0.0.0.0, but must be one addr",
        ),
        ("simulate --data data --interface 0.0.0.0", 2, "--interface is 0.0.0.0, but must be one"),
        ("serve --data data --interface 224.0.0.251", 2, "no interface of this host has the addr"),
        ("simulate --data data --interface 255.255.255.255", 2, "no interface of this host has"),
        ("serve --data data --listen 224.0.0.251", 2, "no interface of this host has the address"),
        ("check good.nc --arm /dev/zero", 2, "/dev/zero cannot be read: it is a device, not a reg"),
        ("check good.nc --arm pipe", 2, "pipe cannot be read: it is a pipe, not a regular file"),
        ("check pipe", 2, "pipe cannot be read: it is a pipe, not a regular file"),
        ("run pipe", 2, "pipe cannot be read: it is a pipe, not a regular file"),
        ("rehearse pipe", 2, "pipe cannot be read: it is a pipe, not a regular file"),
        ("check /dev/zero", 2, "/dev/zero cannot be read: it is a device, not a regular file"),
        ("serve --data keyed", 2, "keyed/arm.key cannot be read: it is a pipe, not a regular file"),
        (
            "rehearse good.nc --plot pipe.svg",
            2,
            "pipe.svg cannot be written: it is no regular file",
        ),
        ("check good.nc --arm bom.toml", 2, "bom.toml:1: the file begins with a byte order mark"),
        ("check good.nc --plot plot.png", 2, "--plot is plot.png, but must end in .svg"),
        ("check good.nc --plot pipe.svg", 2, "pipe.svg cannot be written: it is no regular file"),
        ("check good.nc --plot a/b.svg", 2, "a/b.svg cannot be written: there is no such folder"),
        ("check far.nc --plot far.svg", 2, "far.nc:2:4: elbow would go to 171.5°"),
        ("rehearse good.nc --plot folder.svg", 2, "folder.svg cannot be written: it is a folder"),
        (
            "rehearse good.nc --plot data",
            2,
            "data cannot be written: it is a folder, but must be a",
        ),
        ("joints --url http://127.0.0.1:9/api/v1/", 2, "leave it out, as in http://127.0.0.1:9"),
        ("key new --data data", 2, "is there already"),
        ("nonsense", 2, "nonsense"),
    ],
)
def test_wrong_input_is_one_line_and_the_stated_exit_code(
    folder: Path, unisono: Unisono, arguments: str, code: int, says: str
) -> None:
    done = unisono(*arguments.split())
    assert done.returncode == code, done.stderr
    lines = [line for line in done.stderr.splitlines() if not line.startswith("Arm: ")]
    assert len(lines) == 1
    assert lines[0].startswith("unisono: ")
    assert says in lines[0]
    assert "Traceback" not in done.stdout + done.stderr


@pytest.mark.parametrize(
    "arguments",
    [
        "serve --data new",
        "serve --data new --arm nowhere.toml",
        "serve --data new --interface 192.0.2.1",
        "simulate --data new",
        "demo --data new --port {port}",
        "demo --data new --port 0 --truth absent/truth.jsonl",
    ],
)
def test_command_that_fails_early_leaves_no_new_folder(
    folder: Path, unisono: Unisono, arguments: str
) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        done = unisono(*arguments.format(port=taken.getsockname()[1]).split())
    assert done.returncode == 2
    assert len(done.stderr.splitlines()) == 1
    assert not (folder / "new").exists()


@pytest.mark.parametrize("command", ["key new", "simulate", "serve", "demo --port 0"])
def test_data_folder_without_a_name_is_not_this_folder(
    tmp_path: Path, unisono: Unisono, command: str
) -> None:
    """As where a variable of a shell was never set."""
    done = unisono(*command.split(), "--data", "")
    assert (done.returncode, done.stdout) == (2, "")
    (line,) = done.stderr.splitlines()
    assert "--data is empty" in line
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["check", ""], "FILE is empty, but must name a file"),
        (["run", ""], "FILE is empty"),
        (["rehearse", ""], "FILE is empty"),
        (["check", "good.nc", "--arm", ""], "--arm is empty, but must name a file"),
        (["serve", "--data", "data", "--arm", ""], "--arm is empty"),
        (["rehearse", "good.nc", "--plot", ""], "--plot is empty"),
        (["simulate", "--data", "data", "--truth", ""], "--truth is empty"),
        (
            ["joints", "--url", ""],
            "'' is no address of a coordinator, such as http://127.0.0.1:8750",
        ),
    ],
)
def test_name_that_is_empty_is_told_as_that(
    folder: Path, unisono: Unisono, arguments: list[str], says: str
) -> None:
    done = unisono(*arguments)
    assert (done.returncode, done.stdout) == (2, "")
    (line,) = done.stderr.splitlines()
    assert says in line


def test_certificate_that_is_no_regular_file_is_not_waited_for(
    folder: Path, unisono: Unisono, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("UNISONO_CERTIFICATE", "pipe")
    done = unisono("joints", "--url", "https://127.0.0.1:9")
    assert done.returncode == 2
    assert "pipe holds no certificate: it is a pipe, not a regular file" in done.stderr


def test_help_names_all_that_is_taken_from_the_environment(unisono: Unisono) -> None:
    text = " ".join(unisono("--help").stdout.split())
    for name in ("URL", "CERTIFICATE", "TOKEN", "SERVICE", "DATABASE"):
        assert f"UNISONO_{name}" in text
    assert "XDG_DATA_HOME" in text
    assert "UNISONO_URL" in unisono("joints", "--help").stdout


@pytest.mark.parametrize(
    ("url", "says"),
    [
        ("postgresql://u:secret@h/arm", "--database has a password, and everybody here can read"),
        ("postgresql://u@h/arm?password=secret", "--database has a password"),
        ("mysql://u@h/arm", "the database's URL begins with mysql://"),
        ("postgresql://u@h", "the database's URL names no database"),
        ("here", "the database is named by no URL"),
        ("postgresql://127.0.0.1:9/arm", "postgresql://127.0.0.1:9/arm cannot be used: its server"),
    ],
)
def test_database_that_cannot_be_had_is_one_line_without_its_password(
    folder: Path, unisono: Unisono, url: str, says: str
) -> None:
    (folder / "data" / "arm.key").chmod(0o600)
    done = unisono("serve", "--data", "data", "--port", "0", "--database", url)
    assert (done.returncode, done.stdout) == (2, "")
    line = done.stderr.splitlines()[-1]
    assert line.startswith(f"unisono: {says}")
    assert "secret" not in done.stderr


def test_backup_of_a_folder_whose_data_is_at_a_server_says_what_to_use(
    folder: Path, unisono: Unisono
) -> None:
    (folder / "data" / "database.url").write_text("postgresql://h/arm\n")
    done = unisono("backup", "a.backup", "--data", "data", "--arm", str(DEMO_ARM))
    assert (done.returncode, done.stdout) == (2, "")
    assert "data has its data in postgresql://h/arm, which is backed up by its own tools" in (
        done.stderr
    )
    assert not (folder / "a.backup").exists()


def test_version_is_the_one_that_is_installed(unisono: Unisono) -> None:
    assert unisono("--version") == Done(0, f"unisono {metadata.version('unisono')}\n", "")


def test_every_mistake_of_a_program_and_of_an_arm_file_has_its_line(
    folder: Path, unisono: Unisono
) -> None:
    done = unisono("check", "bad.nc")
    assert done.returncode == 2
    assert [line.split(" ")[1] for line in done.stderr.splitlines()[1:]] == [
        "bad.nc:1:8:",
        "bad.nc:2:1:",
    ]
    done = unisono("check", "good.nc", "--arm", "unit.toml")
    assert done.returncode == 2
    assert (
        f"unit.toml:{line_of('velocity_deg_s')}: joint turntable: has an unknown key velocity_rpm"
        in done.stderr
    )


def test_a_key_that_others_may_read_is_refused(folder: Path, unisono: Unisono) -> None:
    (folder / "data" / "arm.key").chmod(0o644)
    done = unisono("serve", "--data", "data")
    assert done.returncode == 2
    assert "chmod 600" in done.stderr


def test_check_says_in_json_what_a_program_does_and_what_is_wrong_with_it(
    folder: Path, unisono: Unisono
) -> None:
    good = json.loads(unisono("check", "good.nc", "--json").stdout)
    assert good["ok"] is True
    assert good["errors"] == []
    (move,) = good["moves"]
    assert (move["line"], move["target"]["A"], move["rapid"]) == (1, 10.0, True)
    assert move["duration_s"] == pytest.approx(good["duration_s"])

    done = unisono("check", "far.nc", "--json")
    bad = json.loads(done.stdout)
    assert done.returncode == 2
    assert bad["ok"] is False
    (error,) = bad["errors"]
    assert (error["line"], error["column"]) == (2, 4)
    assert "elbow" in error["message"]


def test_check_remarks_on_homing_that_does_not_reach_from_everywhere(
    folder: Path, unisono: Unisono
) -> None:
    text = DEMO_ARM.read_text().replace("travel_deg = 190", "travel_deg = 150")
    (folder / "short.toml").write_text(text)
    done = unisono("check", "good.nc", "--arm", "short.toml")
    assert done.returncode == 0
    assert done.stdout.startswith("good.nc: no mistakes")
    assert done.stderr == (
        "Arm: bench arm, from short.toml\n"
        f"Remark: short.toml:{line_of('travel_deg = 190')}: joint shoulder: homing: "
        "travel_deg is 150, but home_deg 90 is 185° "
        "from the far end of its range, -95°; from there the search finds nothing\n"
    )


def test_check_says_on_which_lines_the_arm_is_slower_than_asked(
    folder: Path, unisono: Unisono
) -> None:
    (folder / "fast.nc").write_text("G1 A60 F99999\nM2\n")
    done = unisono("check", "fast.nc")
    assert done.returncode == 0
    assert "fast.nc:1" in done.stdout


@pytest.mark.parametrize("command", COMMANDS)
def test_help_of_every_command_states_the_exit_codes(command: str, unisono: Unisono) -> None:
    done = unisono(*command.split(), "--help")
    assert done.returncode == 0
    text = " ".join(done.stdout.split())
    parts = ("0 done", "1 begun, but", "2 the input", "3 the arm or its", "4 the coordinator")
    for part in parts:
        assert part in text


def test_help_of_simulate_says_what_no_network_is_for(unisono: Unisono) -> None:
    text = " ".join(unisono("simulate", "--help").stdout.split())
    assert "none adds nothing, for joints that reach the coordinator by a network of yours" in text


def test_help_carries_the_cautions(unisono: Unisono) -> None:
    text = " ".join(unisono("--help").stdout.split())
    for part in ("pinch", "fall", "hot", "agnets", "ains", "not a safety-rated emergency stop"):
        assert part in text


@pytest.mark.parametrize("console", [out, err])
def test_a_place_in_a_file_is_printed_as_it_is(
    console: Callable[[], Console], capsys: pytest.CaptureFixture[str]
) -> None:
    # A number between two colons is the code of a picture to who prints it.
    console().print("tray.nc:100: a mistake")
    assert "tray.nc:100: a mistake\n" in capsys.readouterr()


@pytest.mark.parametrize("minutes", ["2000", "1440.5", "0", "-3", "nan"])
def test_minutes_out_of_bounds_are_told_by_their_option_and_unit(
    minutes: str, unisono: Unisono
) -> None:
    done = unisono("run", "any.nc", f"--minutes={minutes}")
    assert done.returncode == 2
    assert done.stderr == (
        f"unisono: --minutes is {minutes} min, but must be above 0 and at most 1440 min\n"
    )


@pytest.mark.parametrize("command", ["check", "run", "queue add", "go --back"])
def test_a_line_beyond_all_is_told_with_name_limit_and_value(
    unisono: Unisono, command: str
) -> None:
    file = [] if command.startswith("go") else ["x.nc"]
    done = unisono(*command.split(), *file, "--from-line", "99999999999")
    assert done.returncode == 2
    told = "--from-line is '99999999999', but must be a whole number from 1 to 1000000"
    assert told in done.stderr
