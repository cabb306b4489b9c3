"""Work on a long program at a terminal: how far it is, and Ctrl-C, which ends it."""

import asyncio
import os
import pty
import signal
import sys
from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from coordinator.api import create_app
from coordinator.cli import remote
from coordinator.cli.watch import Interrupts
from coordinator.client import Client, Refused
from coordinator.config.arm import load_arm
from coordinator.config.data_folder import make_key
from coordinator.config.settings import DEMO_ARM
from coordinator.programs.progress import Progress, Stage, Tell
from coordinator.service import Service
from tests.coordinator.api.serving import serving
from tests.e2e.harness import children, is_running

# So long that a busy machine has not planned it before the signal comes.
LONG = "".join(f"G0 A{k % 90}\n" for k in range(24_000)) + "M2\n"


@pytest.fixture(name="url")
async def served(tmp_path: Path) -> AsyncIterator[str]:
    make_key(tmp_path)
    service = Service(load_arm(DEMO_ARM), tmp_path, "127.0.0.1")
    async with serving(create_app(service)) as server:
        yield f"http://127.0.0.1:{server.port}"
    await service.close()


@pytest.mark.parametrize("where", ["coordinator", "here"])
async def test_ctrl_c_ends_a_check_that_shows_how_far_it_is(
    tmp_path: Path, url: str, where: str
) -> None:
    file = tmp_path / "long.nc"
    file.write_text(LONG)
    others = set(children(os.getpid()))
    ours, theirs = pty.openpty()
    options = ["--url", url] if where == "coordinator" else ["--arm", str(DEMO_ARM)]
    process = await asyncio.create_subprocess_exec(
        sys.executable, "-m", "coordinator.cli", "check", str(file), *options,
        stdout=asyncio.subprocess.PIPE, stderr=theirs, stdin=asyncio.subprocess.DEVNULL,
        env=os.environ | {"TERM": "xterm", "COLUMNS": "120"},
    )  # fmt: skip
    os.close(theirs)
    shown = ""
    while "planning moves: " not in shown:
        shown += (await asyncio.to_thread(os.read, ours, 4096)).decode()
    assert "of 24000; Ctrl-C cancels" in shown
    planners = {
        pid
        for pid in set(children(os.getpid())) - others - {process.pid}
        if b"spawn_main" in Path(f"/proc/{pid}/cmdline").read_bytes()
    }
    process.send_signal(signal.SIGINT)
    output, _ = await process.communicate()
    assert (process.returncode, output) == (1, b"")
    os.close(ours)
    async with asyncio.timeout(60):
        while any(is_running(pid) for pid in planners):
            await asyncio.sleep(0.01)
    assert bool(planners) == (where == "coordinator")


class Held:
    """A client that is asked for a hold and to give control back."""

    def __init__(self) -> None:
        self.asked: list[str] = []

    def hold(self) -> None:
        self.asked.append("hold")
        raise Refused("not-moving", "nothing moves that could be held")

    def release_control(self) -> None:
        self.asked.append("release")


def test_ctrl_c_while_a_play_is_planned_cancels_it_and_holds_what_may_have_begun() -> None:
    pressed, client = Interrupts(), Held()
    told: list[str] = []

    def begin(_client: Client, tell: Tell) -> int:
        tell(Progress(Stage.READING, 1, 2))
        told.append("first")
        pressed.press()
        tell(Progress(Stage.READING, 2, 2))
        raise AssertionError("it is planned on")

    with pytest.raises(KeyboardInterrupt):
        remote.begun(client, "a.nc", begin, pressed)  # type: ignore[arg-type]
    assert (told, client.asked) == (["first"], ["hold", "release"])
