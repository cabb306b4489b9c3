"""`unisono demo`: software joints and coordinator as child processes, and the commands on them."""

import contextlib
import logging
import signal
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from multiprocessing.connection import Connection
from multiprocessing.context import SpawnProcess
from pathlib import Path
from typing import Any, Final

from coordinator.arm import load_arm
from coordinator.children import END_S, SPAWN, child
from coordinator.cli import host, remote
from coordinator.cli.common import (
    EXPECTED,
    ExitCode,
    Failure,
    caution,
    complain,
    explain,
    out,
    show_json,
)
from coordinator.cli.watch import Interrupts, Progress, follow_homing
from coordinator.client import Client, Refused
from coordinator.data_folder import KEY_FILE, make_key
from coordinator.settings import DEMO_ARM, DEMO_PROGRAM, LOOPBACK, ServiceSettings
from coordinator.software_joints import joint_settings

START_S: Final = 60.0
"""For two processes to start and six joints to be found, on a busy computer."""
WAITED_FOR: Final = ("joint-absent", "joint-not-configured", "joint-silent")


@dataclass(frozen=True, slots=True)
class DemoSettings:
    """What `demo` needs to know."""

    port: int
    network: str
    seed: int
    truth: Path | None
    stay: bool
    as_json: bool


def demonstrate(settings: DemoSettings, data: Path | None) -> ExitCode:
    """Run the demo in a data folder, or in a temporary one."""
    with contextlib.ExitStack() as stack:
        if data is None:
            data = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="unisono-demo-")))
        host.check_port(settings.port)
        if settings.truth is not None:
            settings.truth.open("a").close()
        if not (data / KEY_FILE).exists():
            make_key(data)  # only now: what fails early leaves no new folder
        pressed = stack.enter_context(Interrupts.counted())
        url_in, url_out = SPAWN.Pipe(duplex=False)
        joints = stack.enter_context(child(_child_main, _joints, settings, data))
        coordinator = stack.enter_context(child(_child_main, _coordinator, settings, data, url_out))
        url_out.close()
        url = _await_url(url_in, coordinator, joints, pressed)
        with Client(url) as client:
            caution(as_json=settings.as_json)
            children = [joints, coordinator]
            if settings.stay:
                return _stay(client, settings, pressed, children)
            if settings.as_json or not (sys.stdin.isatty() and sys.stdout.isatty()):
                return _home_and_play(client, settings, pressed)
            # Somebody sits there, who may want to see the page and to go on with it.
            out().print(f"the page: {client.url}/")
            code = _shown(_home_and_play, client, settings, pressed)
            if not pressed.count:
                _stay(client, settings, pressed, children)
            return code


def _home_and_play(client: Client, settings: DemoSettings, pressed: Interrupts) -> ExitCode:
    with remote.giving_back(client):
        _home(client, settings, pressed)
        text = DEMO_PROGRAM.read_text(encoding="utf-8")
        number = remote.play(client, DEMO_PROGRAM.name, text, str(DEMO_PROGRAM))
        return remote.follow(client, number, pressed, as_json=settings.as_json)


def _joints(settings: DemoSettings, data: Path) -> ExitCode:
    """Serve the software joints, in a process of their own."""
    joints = tuple(joint_settings(load_arm(DEMO_ARM), settings.seed))
    simulated = host.SimulateSettings(
        joints, data, LOOPBACK, settings.network, settings.seed, settings.truth
    )
    return host.simulate(simulated, lambda _ports: None)


def _coordinator(settings: DemoSettings, data: Path, url_out: Connection) -> ExitCode:
    """Coordinate the demo arm, in a process of its own."""
    served = ServiceSettings(DEMO_ARM, data, LOOPBACK, settings.port)
    return host.serve(served, load_arm(DEMO_ARM), lambda at: url_out.send(at.url))


def _child_main(work: Callable[..., ExitCode], *arguments: Any) -> None:
    host.set_up_logging(logging.WARNING)
    sys.exit(_shown(work, *arguments))


def _shown(work: Callable[..., ExitCode], *arguments: Any) -> ExitCode:
    """Do it; what fails as may be expected is told, and its code is given."""
    try:
        return work(*arguments)
    except EXPECTED as error:
        failure = explain(error)
        complain(failure)
        return failure.code


def _await_url(
    url_in: Connection, coordinator: SpawnProcess, joints: SpawnProcess, pressed: Interrupts
) -> str:
    deadline = time.monotonic() + START_S
    while time.monotonic() < deadline and not pressed.count:
        _check_alive([coordinator, joints])
        if url_in.poll(0.1):
            with contextlib.suppress(EOFError):
                return str(url_in.recv())
            coordinator.join(END_S)
    raise Failure(ExitCode.NOT_FINISHED, "the demo did not start")


def _check_alive(children: Sequence[SpawnProcess]) -> None:
    """Raise Failure, with the code of a child that ended; it has said why itself."""
    for process in children:
        if process.exitcode is not None:
            raise Failure(ExitCode(process.exitcode if process.exitcode in set(ExitCode) else 1))


def _stay(
    client: Client, settings: DemoSettings, pressed: Interrupts, children: Sequence[SpawnProcess]
) -> ExitCode:
    if settings.as_json:
        show_json({"url": client.url})
    else:
        out().print(f"the demo arm stays at {client.url}/; Ctrl-C ends it")
    signal.signal(signal.SIGTERM, pressed.press)
    while not pressed.count:
        _check_alive(children)
        time.sleep(0.2)
    return ExitCode.DONE


def _home(client: Client, settings: DemoSettings, pressed: Interrupts) -> None:
    """Home all joints as soon as all are there. Raises Failure."""
    progress = Progress(quiet=settings.as_json)
    deadline = time.monotonic() + START_S
    number = None
    with progress.shown():
        while number is None:
            progress.tell("waiting for the joints")
            try:
                number = client.home([])
            except Refused as error:
                if error.code not in WAITED_FOR or time.monotonic() > deadline or pressed.count:
                    raise
                time.sleep(0.2)
    result = follow_homing(client, number, progress, pressed)
    if result["state"] != "done":
        raise Failure(ExitCode.NOT_FINISHED, f"homing failed: {result['message']}")
