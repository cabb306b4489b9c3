"""The unit file, read by systemd itself; the container's file, as far as it can be read here."""

import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
DEPLOY = ROOT / "deploy"


@pytest.fixture(name="unit")
def unit_of_this_tree(tmp_path: Path) -> Path:
    """The unit with a program that is there, since systemd looks for it."""
    program = tmp_path / ".venv" / "bin" / "unisono"
    program.parent.mkdir(parents=True)
    program.symlink_to(Path(sys.executable).parent / "unisono")
    unit = tmp_path / "unisono.service"
    unit.write_text((DEPLOY / "unisono.service").read_text().replace("/opt/unisono", str(tmp_path)))
    return unit


def systemd_analyze(*arguments: str | Path) -> subprocess.CompletedProcess[str]:
    assert shutil.which("systemd-analyze"), "systemd-analyze is missing: run 'make system'"
    return subprocess.run(
        ["systemd-analyze", *arguments], capture_output=True, text=True, check=False
    )


def assert_understood(arguments: list[str]) -> None:
    """The program misses the arm file, so it understood all options."""
    done = subprocess.run(
        [sys.executable, "-m", "coordinator.cli", *arguments],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 2
    assert "/etc/unisono/arm.toml" in done.stderr


def test_systemd_finds_nothing_wrong_with_the_unit(unit: Path) -> None:
    done = systemd_analyze("verify", unit)
    assert (done.returncode, done.stderr) == (0, "")


def test_systemd_finds_a_mistake_in_a_spoiled_unit(unit: Path) -> None:
    unit.write_text(unit.read_text().replace("RestartSec=2", "RestartSec=soon"))
    assert "Failed to parse sec value" in systemd_analyze("verify", unit).stderr


def test_systemd_rates_the_units_exposure_as_low(unit: Path) -> None:
    # Its scale: 0 to 10, `OK` up to 2.0 or so; the threshold counts in tenths.
    done = systemd_analyze("security", "--offline=true", "--threshold=20", unit)
    assert done.returncode == 0, done.stdout[-200:]


def test_the_filter_lets_a_child_make_itself_nicer() -> None:
    # `os.nice` of what plans and rehearses is this call (setpriority(2)), which `@resources` bars.
    barred = systemd_analyze("syscall-filter", "@resources").stdout.split()
    assert "setpriority" in barred
    filters = re.findall(
        r"^SystemCallFilter=(.*)$", (DEPLOY / "unisono.service").read_text(), re.MULTILINE
    )
    assert filters.index("setpriority") > filters.index("~@privileged @resources")


def test_a_restart_follows_failures_only_and_leaves_time_for_a_hold() -> None:
    unit = (DEPLOY / "unisono.service").read_text()
    assert "Restart=on-failure\n" in unit
    assert "TimeoutStopSec=20\n" in unit


def test_the_units_command_is_one_that_the_program_takes() -> None:
    unit = (DEPLOY / "unisono.service").read_text()
    found = re.search(r"^ExecStart=\S+/unisono (.*)$", unit, re.MULTILINE)
    assert found is not None
    arguments = found[1].replace("${UNISONO_INTERFACE}", "127.0.0.1").split()
    assert_understood(arguments)


def test_what_the_container_copies_is_there_and_its_command_is_known() -> None:
    text = (DEPLOY / "Containerfile").read_text()
    copied = re.findall(r"^COPY (.+) \S+$", text, re.MULTILINE)
    assert copied
    for sources in copied:
        for source in sources.split():
            assert (ROOT / source).exists(), source
    command = re.search(r"^CMD \[(.+)\]$", text, re.MULTILINE)
    assert command is not None
    assert_understood(re.findall(r'"([^"]+)"', command[1]))
