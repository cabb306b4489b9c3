"""`unisono demo`: software joints and coordinator as child processes, and the commands on them.

What the children alone need they import themselves.
"""

import contextlib
import logging
import signal
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any, Final, Literal

from coordinator.cli import host, remote
from coordinator.cli.common import (
    ExitCode,
    Failure,
    caution,
    out,
    show_json,
)
from coordinator.cli.demo_children import ChildEnded, DemoChildren
from coordinator.cli.failing import EXPECTED, explain, tell
from coordinator.cli.starting import collecting_nothing
from coordinator.cli.watch import LOOK_S, Interrupts, Progress, follow_homing
from coordinator.client import Client, ClientError, Refused
from coordinator.config.arm import load_arm
from coordinator.config.data_folder import KEY_FILE, make_key
from coordinator.config.settings import (
    DEMO_ARM,
    DEMO_PROGRAM,
    LOOPBACK,
    ServiceSettings,
    service_type,
)
from coordinator.workers.processes import END_S, SPAWN, child

GONE_S: Final = 0.5
"""Within which a process has ended whose connections are gone."""
START_S: Final = 60.0
"""For two processes to start and six joints to be found, on a busy computer."""
WAITED_FOR: Final = ("joint-offline", "joint-not-configured")


@dataclass(frozen=True, slots=True)
class DemoSettings:
    """What `demo` needs to know."""

    port: int
    joints: Literal["python", "c", "mixed"]
    network: str | None
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
        service_type()  # so that a wrong one is told once, and not by each child
        if settings.truth is not None:
            settings.truth.open("a").close()
        if not (data / KEY_FILE).exists():
            make_key(data)  # only now: what fails early leaves no new folder
        pressed = stack.enter_context(Interrupts.counted())
        url_in, url_out = SPAWN.Pipe(duplex=False)
        joints = stack.enter_context(child(_child_main, _joints, settings, data))
        coordinator = stack.enter_context(child(_child_main, _coordinator, settings, data, url_out))
        url_out.close()
        children = DemoChildren(joints, coordinator)
        try:
            with Client(_await_url(url_in, children, pressed)) as client:
                caution(as_json=settings.as_json)
                return _carried_on(client, settings, pressed, children)
        except ChildEnded as ended:
            tell(ended, as_json=settings.as_json)  # at once, and not when all is at rest
            children.let_joints_rest(pressed)
            return ended.code


def _carried_on(
    client: Client, settings: DemoSettings, pressed: Interrupts, children: DemoChildren
) -> ExitCode:
    if settings.stay:
        return _stay(client, settings, pressed, children)
    if settings.as_json or not (sys.stdin.isatty() and sys.stdout.isatty()):
        return _home_and_play(client, settings, pressed, children)
    # Somebody sits there, who may want to see the page and to go on with it.
    out().print(f"the page: {client.url}/")
    code = _told(_home_and_play, client, settings, pressed, children)
    if not pressed.count:
        _stay(client, settings, pressed, children)
    return code


def _home_and_play(
    client: Client, settings: DemoSettings, pressed: Interrupts, children: DemoChildren
) -> ExitCode:
    try:
        with remote.giving_back(client):
            _home(client, settings, pressed, children)
            text = DEMO_PROGRAM.read_text(encoding="utf-8")
            number = remote.begun(
                client,
                str(DEMO_PROGRAM),
                lambda client, tell: client.play(DEMO_PROGRAM.name, text, tell=tell),
                pressed,
            )
            return remote.follow(client, number, pressed, as_json=settings.as_json)
    except (ClientError, Failure):
        children.require_alive(GONE_S)  # where one has ended, that is why
        raise


def _joints(settings: DemoSettings, data: Path) -> ExitCode:
    """Serve the software joints, in a process of their own."""
    with collecting_nothing():
        from coordinator.cli.simulating import SimulateSettings, network_for, shared_out, simulate
        from coordinator.rehearsal.software_joints import joint_settings

    in_python, in_c = shared_out(joint_settings(load_arm(DEMO_ARM), settings.seed), settings.joints)
    network = network_for(settings.joints, settings.network, "home")
    simulated = SimulateSettings(
        in_python, data, LOOPBACK, network, settings.seed, settings.truth, in_c=in_c
    )
    return simulate(simulated, lambda _ports, _programs: None)


def _coordinator(settings: DemoSettings, data: Path, url_out: Connection) -> ExitCode:
    """Coordinate the demo arm, in a process of its own."""
    with collecting_nothing():
        from coordinator.cli.serving import serve

    served = ServiceSettings(DEMO_ARM, data, LOOPBACK, settings.port)
    return serve(served, load_arm(DEMO_ARM), lambda at: url_out.send(at.url))


def _child_main(work: Callable[..., ExitCode], *arguments: Any) -> None:
    host.set_up_logging(logging.WARNING)
    sys.exit(_told(work, *arguments))


def _told(work: Callable[..., ExitCode], *arguments: Any) -> ExitCode:
    """Do it; what fails as may be expected is told, and its code is given. Raises ChildEnded."""
    try:
        return work(*arguments)
    except ChildEnded:
        raise
    except EXPECTED as error:
        failure = explain(error)
        tell(failure, as_json=False)
        return failure.code


def _await_url(url_in: Connection, children: DemoChildren, pressed: Interrupts) -> str:
    deadline = time.monotonic() + START_S
    while time.monotonic() < deadline and not pressed.count:
        try:
            children.require_alive(0.0)
            if url_in.poll(LOOK_S):
                with contextlib.suppress(EOFError):
                    return str(url_in.recv())
                children.require_alive(END_S)
        except ChildEnded as ended:
            if ended.exit_code <= 0:
                raise
            code = ExitCode(ended.exit_code if ended.exit_code in set(ExitCode) else 1)
            raise Failure(code, "the demo did not start; why stands above") from ended
    raise Failure(ExitCode.NOT_FINISHED, "the demo did not start")


def _stay(
    client: Client, settings: DemoSettings, pressed: Interrupts, children: DemoChildren
) -> ExitCode:
    if settings.as_json:
        show_json({"url": client.url})
    else:
        out().print(f"the demo arm stays at {client.url}/; Ctrl-C ends it")
    signal.signal(signal.SIGTERM, pressed.press)
    while not pressed.count:
        try:
            children.require_alive(LOOK_S)
        except ChildEnded:
            if not pressed.count:  # or else all were asked to end together
                raise
    return ExitCode.DONE


def _home(
    client: Client, settings: DemoSettings, pressed: Interrupts, children: DemoChildren
) -> None:
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
                children.require_alive(2 * LOOK_S)
    result = follow_homing(client, number, progress, pressed)
    if result.state != "done":
        raise Failure(ExitCode.NOT_FINISHED, f"homing failed: {result.message}")
