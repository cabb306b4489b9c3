"""`unisono demo`: everything in one command, and nothing left behind.

The demo arm has fixed ids, so these tests take turns, also where several processes run tests.
"""

import contextlib
import fcntl
import json
import os
import re
import signal
import subprocess
import termios
from typing import Any

import httpx2
import pytest

from coordinator.client import Client
from coordinator.config.settings import DEMO_ARM
from coordinator.testing.live_arm import run_before_others
from tests.e2e.harness import (
    Bench,
    children,
    is_running,
    start_skew_us,
    until,
)

pytestmark = [pytest.mark.usefixtures("turn"), pytest.mark.timeout(400)]


def run_its_children_before_others(demo: subprocess.Popen[Any], programs: int = 0) -> None:
    """As the harness does with what it starts itself: joints and coordinator, once they are there.

    Beside them stands what multiprocessing keeps. Each joint in C is a program of its own.
    """
    count = 3 + programs
    until(
        lambda: demo.poll() is not None or len(children(demo.pid)) >= count, "the demo's children"
    )
    for pid in children(demo.pid):
        with contextlib.suppress(ProcessLookupError):
            run_before_others(pid)


@pytest.mark.joints("c")
def test_demo_homes_plays_and_prints_its_report(bench: Bench) -> None:
    with subprocess.Popen(
        [bench.python, "-m", "coordinator.cli", "demo", "--json", "--port", "0",
         "--joints", bench.kind, "--truth", str(bench.truth)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    ) as demo:  # fmt: skip
        run_its_children_before_others(demo, {"python": 0, "mixed": 3, "c": 6}[bench.kind])
        out, err = demo.communicate(timeout=280)
    assert demo.returncode == 0, err
    report = json.loads(out)
    assert report["outcome"] == "finished"
    starts = bench.truths("start")
    joints = DEMO_ARM.read_text().count("[[joints]]")
    # It is parted behind each M3, where the gripper's input is awaited.
    trajectories = sorted({start["trajectory"] for start in starts})
    assert len(trajectories) == len(report["starts"]) == 3
    for trajectory, told in zip(trajectories, report["starts"], strict=True):
        those = [start for start in starts if start["trajectory"] == trajectory]
        assert len(those) == len(report["joints"]) == joints
        assert start_skew_us(those) <= told["start_skew_max_us"]
    assert len(bench.truths("finish")) == len(starts)
    assert [one["outputs"] for one in bench.truths("outputs")] == [1, 0, 1, 0]
    assert {one["joint"] for one in bench.truths("outputs")} == {"tool"}


def test_in_a_terminal_the_demo_tells_its_page_and_stays_until_ctrl_c(bench: Bench) -> None:
    mine, its = os.openpty()
    demo = subprocess.Popen(
        [bench.python, "-m", "coordinator.cli", "demo", "--port", "0", "--network", "quiet"],
        stdin=its, stdout=its, stderr=its, start_new_session=True,
        preexec_fn=lambda: fcntl.ioctl(0, termios.TIOCSCTTY, 0),
    )  # fmt: skip
    os.close(its)
    run_its_children_before_others(demo)
    started: list[int] = []
    shown = ""
    try:
        while "Ctrl-C ends it" not in shown:
            shown += os.read(mine, 4096).decode(errors="replace")
        started = children(demo.pid)
        url = re.search(r"the page: (http://127\.0\.0\.1:\d+)/", shown)
        assert url is not None, shown
        assert httpx2.get(url[1] + "/").status_code == 200
        assert "outcome" in shown or "finished" in shown, shown
        os.write(mine, b"\x03")
        assert demo.wait(60) == 0
    finally:
        demo.kill()
        demo.wait(60)
        os.close(mine)
    assert len(started) >= 2
    until(lambda: not any(is_running(pid) for pid in started), "the end of all its processes")


@pytest.mark.parametrize("by", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL])
def test_demo_leaves_no_process_behind(bench: Bench, by: signal.Signals) -> None:
    demo = bench.start("demo", "--stay", "--json", "--port", "0", "--data", str(bench.data))
    started = children(demo.pid)
    assert len(started) >= 2
    with Client(demo.ready["url"]) as client:
        assert client.arm().arm == "bench arm"
    if by is signal.SIGINT:
        os.killpg(demo.pid, by)  # as a terminal does
        assert demo.popen.wait(60) == 0
    else:
        demo.popen.send_signal(by)
        demo.popen.wait(60)
    until(lambda: not any(is_running(pid) for pid in started), "the end of all its processes")
