"""`unisono demo`: everything in one command, and nothing left behind.

The demo arm has fixed ids, so these tests take turns, also where several processes run tests.
"""

import fcntl
import json
import os
import re
import signal
import subprocess
import tempfile
import termios
from collections.abc import Iterator
from pathlib import Path

import httpx2
import pytest

from coordinator.client import Client
from coordinator.settings import DEMO_ARM
from tests.e2e.harness import Bench, children, is_running, spread_us, until

pytestmark = [pytest.mark.usefixtures("turn"), pytest.mark.timeout(400)]


@pytest.fixture(name="turn")
def turn_of_one() -> Iterator[None]:
    """Hold a lock that all demo tests on this computer share."""
    with (Path(tempfile.gettempdir()) / "unisono-demo-tests.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield


def test_demo_homes_plays_and_prints_its_report(bench: Bench) -> None:
    done = subprocess.run(
        [bench.python, "-m", "coordinator.cli", "demo", "--json", "--port", "0",
         "--truth", str(bench.truth)],
        capture_output=True, text=True, timeout=280, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    report = json.loads(done.stdout)
    assert report["outcome"] == "finished"
    starts = bench.truths("start")
    assert len(starts) == len(report["joints"]) == DEMO_ARM.read_text().count("[[joints]]")
    assert spread_us(starts) <= report["start"]["bound_us"]
    assert len(bench.truths("finish")) == len(starts)


def test_in_a_terminal_the_demo_tells_its_page_and_stays_until_ctrl_c(bench: Bench) -> None:
    mine, its = os.openpty()
    demo = subprocess.Popen(
        [bench.python, "-m", "coordinator.cli", "demo", "--port", "0", "--network", "quiet"],
        stdin=its, stdout=its, stderr=its, start_new_session=True,
        preexec_fn=lambda: fcntl.ioctl(0, termios.TIOCSCTTY, 0),
    )  # fmt: skip
    os.close(its)
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
        assert client.arm()["arm"] == "bench arm"
    if by is signal.SIGINT:
        os.killpg(demo.pid, by)  # as a terminal does
        assert demo.popen.wait(60) == 0
    else:
        demo.popen.send_signal(by)
        demo.popen.wait(60)
    until(lambda: not any(is_running(pid) for pid in started), "the end of all its processes")
