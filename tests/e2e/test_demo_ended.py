"""The demo whose coordinator or joints are ended from outside: it says so, and ends.

As in test_demo.py all of these take turns.
"""

import contextlib
import os
import signal
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from coordinator.config.settings import DEMO_ARM
from tests.e2e.harness import Bench, children, is_running, until

pytestmark = [pytest.mark.usefixtures("turn"), pytest.mark.timeout(300)]
KILLED = "ended unexpectedly, killed by SIGKILL"
START_S = 150.0
"""In which six joints are found and homed one after another, where much else goes on."""
TRIES = 3
JOINTS = DEMO_ARM.read_text().count("[[joints]]")
REST = "come to rest by their own rules"


def processes(demo: int, data: Path) -> dict[str, int]:
    """The demo's two children by what they are, as soon as both are there."""

    def look() -> dict[str, int] | None:
        lock = data / "lock"
        coordinator = lock.read_text().strip() if lock.exists() else ""
        spawned = spawned_by(demo)
        others = [pid for pid in spawned if str(pid) != coordinator]
        if not coordinator or len(spawned) != 2 or len(others) != 1:
            return None
        return {"coordinator": int(coordinator), "software joints": others[0]}

    return until(look, "the demo's processes", START_S)


def spawned_by(pid: int) -> list[int]:
    """Processes that multiprocessing spawned for a process, but for its own helper."""
    found = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    commands = {int(child): Path(f"/proc/{child}/cmdline").read_bytes() for child in found}
    return [child for child, command in commands.items() if b"spawn_main" in command]


def lines_of(errors: str) -> list[str]:
    """What the command itself said, without the log of the coordinator."""
    return [line for line in errors.splitlines() if line.startswith("unisono: ")]


@contextlib.contextmanager
def played(bench: Bench, *more: str) -> Iterator[subprocess.Popen[str]]:
    """A demo that homes and plays, as where nobody sits at a terminal."""
    with subprocess.Popen(
        [bench.python, "-m", "coordinator.cli", "demo", "--port", "0", "--data", str(bench.data),
         "--network", "quiet", *more],
        stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    ) as demo:  # fmt: skip
        try:
            yield demo
        finally:
            demo.kill()


@pytest.mark.parametrize(
    ("victim", "by", "how"),
    [
        ("coordinator", signal.SIGKILL, "killed by SIGKILL"),
        ("coordinator", signal.SIGTERM, "with exit code 0"),
        ("software joints", signal.SIGKILL, "killed by SIGKILL"),
    ],
)
def test_a_demo_that_stays_says_what_ended_and_how(
    bench: Bench, victim: str, by: signal.Signals, how: str
) -> None:
    demo = bench.start("demo", "--stay", "--json", "--port", "0", "--data", str(bench.data))
    started = children(demo.pid)
    os.kill(processes(demo.pid, bench.data)[victim], by)
    assert demo.popen.wait(60) == 1
    (line,) = lines_of(demo.errors())
    assert line.startswith(f"unisono: the demo's {victim} ended unexpectedly, {how}")
    assert line.endswith(REST)
    assert demo.popen.stdout is not None
    assert demo.popen.stdout.read() == ""  # its one JSON value was told before
    until(lambda: not any(is_running(pid) for pid in started), "the end of all its processes")


@contextlib.contextmanager
def moving(bench: Bench) -> Iterator[tuple[subprocess.Popen[str], dict[str, int]]]:
    """A demo whose joints all move, and its processes.

    Where other work on this machine had one end before, it is tried anew.
    """
    ended = []
    for attempt in range(TRIES):
        bench.data = bench.folder / f"data{attempt}"
        bench.truth = bench.folder / f"truth{attempt}.jsonl"
        with played(bench, "--truth", str(bench.truth)) as demo:
            victims = processes(demo.pid, bench.data)

            def moves() -> bool:
                return len({truth["joint"] for truth in bench.truths("start")}) == JOINTS

            until(lambda: moves() or demo.poll() is not None, "the start or the end", START_S)
            if moves():
                yield demo, victims
                return
            ended.append(demo.communicate())
    raise AssertionError(f"no demo came to move: {ended}")


@pytest.mark.timeout(2 * TRIES * START_S)
@pytest.mark.parametrize("victim", ["coordinator", "software joints"])
def test_a_demo_that_plays_says_what_ended_and_its_joints_rest(bench: Bench, victim: str) -> None:
    with moving(bench) as (demo, victims):
        os.kill(victims[victim], signal.SIGKILL)
        said, errors = demo.communicate(timeout=60)
    assert demo.returncode == 1
    (line,) = lines_of(errors)
    assert line.startswith(f"unisono: the demo's {victim} {KILLED}")
    assert line.endswith(REST)
    assert "Traceback" not in said + errors
    if victim == "coordinator":
        # The line is true: each of the software joints has come to rest before it ended.
        last = {truth["joint"]: truth["event"] for truth in bench.truths()}
        assert list(last.values()) == ["hold"] * JOINTS


def test_a_demo_whose_joints_end_before_they_are_found_says_so_too(bench: Bench) -> None:
    with played(bench) as demo:
        (first, *_) = until(lambda: spawned_by(demo.pid), "the first process")
        os.kill(first, signal.SIGKILL)
        errors = demo.communicate(timeout=100)[1]
    assert demo.returncode == 1
    (line,) = lines_of(errors)
    assert line.startswith(f"unisono: the demo's software joints {KILLED}")


def test_in_json_the_end_of_a_child_is_the_one_value(bench: Bench) -> None:
    with played(bench, "--json") as demo:
        os.kill(processes(demo.pid, bench.data)["coordinator"], signal.SIGKILL)
        said, errors = demo.communicate(timeout=60)
    assert demo.returncode == 1
    (line,) = lines_of(errors)
    assert f'"message": "{line.removeprefix("unisono: ")}"' in said
    assert '"ok": false' in said
