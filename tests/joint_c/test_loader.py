"""What starts a joint in C, and the firmware that comes in its place: restarts, trials, its end."""

import contextlib
import json
import os
import signal
import subprocess
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.joint_c.test_program import fresh_id, refused, words
from tests.joint_c.updated import NEW, OLD, bring_and_install, confirm, require_told
from tests.joint_c.updating import KEY, UPDATE_KEY, Signed, signed, stream

PATIENCE_S = 60.0
Popen = subprocess.Popen[str]


@pytest.fixture(scope="module", name="key")
def key_of_the_arm(tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("data") / "arm.key"
    file.write_text(KEY.hex() + "\n")
    file.chmod(0o600)
    return file


@contextlib.contextmanager
def loaded(
    build: Path, folder: Path, key: Path, *more: str, watch: str = "130", end: int = 0
) -> Iterator[tuple[Popen, dict[str, Any]]]:
    """A joint behind its loader, and what it told; ended when this is left, with that code."""
    folder.mkdir(exist_ok=True)
    options = ["--folder", str(folder), "--watch", watch]
    joint = [str(build / "joint"), *words(key, "--update-key", UPDATE_KEY.hex(), joint=fresh_id())]
    with subprocess.Popen(
        [build / "loader", *options, *joint, *more], stdout=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        try:
            yield process, json.loads(process.stdout.readline())
        finally:
            process.terminate()
            code = process.wait(PATIENCE_S)
    assert code == end


def children(process: Popen) -> list[int]:
    text = Path(f"/proc/{process.pid}/task/{process.pid}/children").read_text()
    return [int(word) for word in text.split()]


def until(look: Callable[[], object], what: str) -> None:
    end = time.monotonic() + PATIENCE_S
    while not look():
        assert time.monotonic() < end, what
        time.sleep(0.02)


def is_there(pid: int) -> bool:
    status = Path(f"/proc/{pid}/stat")
    with contextlib.suppress(FileNotFoundError, ProcessLookupError):
        return status.read_text().rpartition(")")[2].split()[0] != "Z"
    return False


def test_new_firmware_runs_in_another_process_at_the_same_port_and_the_next_in_the_other_slot(
    joint_build: Path, tmp_path: Path, key: Path, short: Signed
) -> None:
    again = signed(short.data + b"# again\n", NEW)
    with loaded(joint_build, tmp_path / "board", key) as (process, told):
        port, seen = told["stream_port"], children(process)
        for slot, image in (("slot-a", short), ("slot-b", again), ("slot-a", short)):
            with stream(port) as link:
                bring_and_install(link, image)
            confirm(port, image)
            assert (tmp_path / "board" / slot).read_bytes() == image.data
            seen += children(process)
        assert len(set(seen)) == 4
        assert told["udp_port"] > 0


@pytest.mark.parametrize(
    ("data", "watch"),
    [
        (b"#!/bin/sh\nexit 0\n", "130"),
        (b"#!/bin/sh\nexit 9\n", "130"),
        (b"#!/bin/sh\nkill -9 $$\n", "130"),
        (bytes(range(256)), "130"),
        (b"#!/bin/sh\nexec sleep 1000\n", "0.3"),
    ],
    ids=["ends", "fails", "is killed", "no program", "hangs"],
)
def test_firmware_that_answers_nobody_gives_way(
    joint_build: Path, tmp_path: Path, key: Path, data: bytes, watch: str
) -> None:
    with loaded(joint_build, tmp_path / "board", key, watch=watch) as (_, told):
        with stream(told["stream_port"]) as link:
            bring_and_install(link, signed(data, "bad"))
            assert link.closing_code() == 1001
        with stream(told["stream_port"]) as link:
            require_told(link.welcome, None, on_trial=False)
            assert link.welcome.firmware == OLD


def test_the_axis_stands_where_it_stood_before_the_restart(
    joint_build: Path, tmp_path: Path, key: Path, short: Signed
) -> None:
    """The home sensor of the joint that begins again tells: at the start the magnet is far off."""
    board = tmp_path / "board"
    left = board / "restart"
    with loaded(joint_build, board, key, "--start", "455111") as (_, told):
        with stream(told["stream_port"]) as link:
            assert not link.drive().home_sensor
        with stream(told["stream_port"]) as link:
            bring_and_install(link, short)
        with stream(told["stream_port"]) as link:
            assert not link.drive().home_sensor
        motor, output, celsius, port = left.read_text().split()
        assert (float(motor), float(output), int(port)) == (455111, 455111, told["stream_port"])
        assert 25 <= float(celsius) < 26
    left.write_text(f"0 0 {celsius} {port}\n")  # as if it had been homed since
    (board / "restart.new").write_text("0 0 2")  # of power that went as the next one was kept
    with (
        loaded(joint_build, board, key, "--start", "455111") as (_, told),
        stream(told["stream_port"]) as link,
    ):
        assert told["stream_port"] == int(port)
        assert not (board / "restart.new").exists()
        assert link.drive().home_sensor


def test_a_joint_that_ends_unasked_ends_its_loader_with_its_code(
    joint_build: Path, tmp_path: Path, key: Path
) -> None:
    with loaded(joint_build, tmp_path / "board", key, end=128 + signal.SIGKILL) as (process, _):
        os.kill(children(process)[0], signal.SIGKILL)
        process.wait(PATIENCE_S)
    (tmp_path / "other").mkdir()
    told = refused(
        joint_build / "loader", "--folder", str(tmp_path / "other"),
        str(joint_build / "joint"), "--nose", "1",
    )  # fmt: skip
    assert told == "joint: --nose is no option; see --help\n"


def test_a_program_that_cannot_be_started_is_told(joint_build: Path, tmp_path: Path) -> None:
    done = subprocess.run(
        [joint_build / "loader", "--folder", tmp_path, tmp_path / "none"],
        capture_output=True, text=True, timeout=PATIENCE_S,
    )  # fmt: skip
    assert done.returncode == 1
    assert done.stderr == f"loader: {tmp_path / 'none'}: No such file or directory\n"


def test_a_joint_ends_with_a_loader_that_is_killed(
    joint_build: Path, tmp_path: Path, key: Path
) -> None:
    with loaded(joint_build, tmp_path / "board", key, end=-signal.SIGKILL) as (process, _):
        (joint,) = children(process)
        process.kill()
        until(lambda: not is_there(joint), "it goes on without its loader")


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ((), "--folder and PROGRAM are needed"),
        (("--folder",), "--folder needs a value"),
        (("--folder", "x"), "--folder and PROGRAM are needed"),
        (("--nose", "1"), "--nose is no option"),
        (("--watch", "soon", "x"), "--watch is 'soon', but must be a number from 0 to 4194304"),
        (("--with-parent", "0", "x"), "is '0', but must be a number from 1 to"),
    ],
)
def test_what_is_wrong_on_its_command_line_is_told(
    joint_build: Path, more: tuple[str, ...], told: str
) -> None:
    assert told in refused(joint_build / "loader", *more)


def test_a_record_that_is_none_of_its_own_is_told(joint_build: Path, tmp_path: Path) -> None:
    (tmp_path / "updates").write_bytes(b"something else")
    told = refused(joint_build / "loader", "--folder", str(tmp_path), "/bin/true")
    assert "holds nothing that was stored here" in told
