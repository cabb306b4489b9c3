"""Standard output that takes nothing, or not every letter: real processes, begun by a shell."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

UNISONO = f"{sys.executable} -m coordinator.cli"
HERE = Path(__file__).parents[3]


def shell(command: str, folder: Path, **environment: str) -> subprocess.CompletedProcess[bytes]:
    """A line of a shell, in which `unisono` is the command."""
    return subprocess.run(
        ["sh", "-c", command.replace("unisono", UNISONO)],
        cwd=folder,
        capture_output=True,
        timeout=60,
        check=False,
        env={**os.environ, "PYTHONPATH": str(HERE), **environment},
    )


@pytest.fixture(autouse=True)
def program(tmp_path: Path) -> None:
    for name in (b"good.nc", b"\xff.nc"):
        Path(os.fsdecode(os.fsencode(tmp_path) + b"/" + name)).write_text("G0 A10\nM2\n")


@pytest.mark.parametrize("arguments", ["check good.nc", "check good.nc --json", "joints --json"])
def test_an_output_that_is_full_is_no_traceback(tmp_path: Path, arguments: str) -> None:
    done = shell(f"unisono {arguments} > /dev/full", tmp_path)
    assert done.returncode in (2, 4)
    last = done.stderr.decode().splitlines()[-1]
    assert last.startswith("unisono: ")
    assert b"Traceback" not in done.stderr
    assert b"Exception ignored" not in done.stderr


@pytest.mark.parametrize(
    ("arguments", "code"), [("check good.nc", 0), ("check good.nc --json", 0), ("joints --json", 4)]
)
def test_a_closed_output_takes_nothing_and_changes_nothing(
    tmp_path: Path, arguments: str, code: int
) -> None:
    for closed in (">&-", "2>&-", ">&- 2>&-"):
        done = shell(f"unisono {arguments} {closed}", tmp_path)
        assert done.returncode == code, done
        assert b"Traceback" not in done.stdout + done.stderr


def test_a_file_name_that_is_not_utf_8_is_shown_as_far_as_can_be(tmp_path: Path) -> None:
    done = shell(
        "unisono check \"$(printf '\\377').nc\"", tmp_path, PYTHONIOENCODING="utf-8:strict"
    )
    assert (done.returncode, done.stderr.splitlines()[1:]) == (0, [])
    assert done.stdout.startswith(b"\\udcff.nc: no mistakes")


def test_a_terminal_of_few_letters_gets_what_it_has(tmp_path: Path) -> None:
    (tmp_path / "fast.nc").write_text("G1 A60 F99999\nM2\n")
    done = shell("unisono check fast.nc", tmp_path, PYTHONIOENCODING="ascii:strict")
    assert (done.returncode, done.stderr.splitlines()[1:]) == (0, [])
    assert done.stdout.endswith(b"its limit is 60 \\xb0/s\n")
