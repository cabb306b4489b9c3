"""Every command with wrong input: one line that names it, the stated exit code, no traceback."""

import json
import socket
from collections.abc import Callable
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path

import pytest

from coordinator.cli import run
from coordinator.settings import DEMO_ARM

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


@pytest.fixture
def folder(tmp_path: Path, unisono: Unisono) -> Path:
    """A folder with a key, and files that are right and wrong."""
    (tmp_path / "good.nc").write_text("G0 A10\nM2\n")
    (tmp_path / "bad.nc").write_text("G0 A10 Q5\nG1 B3\nM2\n")
    (tmp_path / "far.nc").write_text("G0 A10\nG0 C171.5\nM2\n")
    (tmp_path / "noise.nc").write_bytes(bytes(range(128, 256)))
    text = DEMO_ARM.read_text()
    (tmp_path / "unit.toml").write_text(text.replace("velocity_deg_s", "velocity_rpm", 1))
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
        ("check good.nc --arm range.toml", 2, "range.toml:37: joint turntable: range_deg"),
        ("check far.nc", 2, "far.nc:2:4: elbow would go to 171.5°, beyond its limit of 130°"),
        ("stop --level hard", 2, "--level: 'hard' is not one of 'stop', 'stop-and-release', 'rel"),
        ("stop --level hard", 2, "; see 'unisono stop --help'"),
        ("override fast", 2, "PERCENT is 'fast', but must be a valid number; see 'unisono over"),
        ("override 200", 2, "PERCENT is '200', but must be less than or equal to 100"),
        ("report first", 2, "RUN is 'first', but must be a valid integer"),
        ("report 0", 2, "RUN is '0', but must be greater than or equal to 1"),
        ("key", 2, "Missing command; see 'unisono key --help'"),
        ("home --xyz", 2, "No such option: --xyz; see 'unisono home --help'"),
        ("jions", 2, "No such command 'jions'. Did you mean 'joints'?"),
        ("run good.nc far.nc", 2, "Got unexpected extra argument(s) (far.nc); see 'unisono run -"),
        ("simulate --data data --network awful", 2, "'awful' is not one of"),
        ("simulate --data data --only nobody", 2, "no joint 'nobody'"),
        ("simulate --data data --interface 192.0.2.1", 2, "no interface of this host"),
        ("simulate --data empty", 2, "unisono key new"),
        ("serve --data empty", 2, "unisono key new"),
        ("serve --data data --port 65536", 2, "65535"),
        ("serve --data data --interface here", 2, "'here' is no IPv4 address"),
        ("key new --data data", 2, "is there already"),
        ("nonsense", 2, "nonsense"),
    ],
)
def test_wrong_input_is_one_line_and_the_stated_exit_code(
    folder: Path, unisono: Unisono, arguments: str, code: int, says: str
) -> None:
    done = unisono(*arguments.split())
    assert done.returncode == code, done.stderr
    lines = [line for line in done.stderr.splitlines() if not line.startswith("Caution")]
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


def test_version_is_the_one_that_is_installed(unisono: Unisono) -> None:
    assert unisono("--version") == Done(0, f"unisono {metadata.version('unisono')}\n", "")


def test_every_mistake_of_a_program_and_of_an_arm_file_has_its_line(
    folder: Path, unisono: Unisono
) -> None:
    done = unisono("check", "bad.nc")
    assert done.returncode == 2
    assert [line.split(" ")[1] for line in done.stderr.splitlines()] == [
        "bad.nc:1:8:",
        "bad.nc:2:1:",
    ]
    done = unisono("check", "good.nc", "--arm", "unit.toml")
    assert done.returncode == 2
    assert "unit.toml:38: joint turntable: has an unknown key velocity_rpm" in done.stderr


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
        "Remark: short.toml:63: joint shoulder: homing: travel_deg is 150, but home_deg 90 is 185° "
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


def test_help_carries_the_cautions(unisono: Unisono) -> None:
    text = " ".join(unisono("--help").stdout.split())
    for part in ("pinch", "fall", "hot", "agnets", "ains", "not a safety-rated emergency stop"):
        assert part in text
