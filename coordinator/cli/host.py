"""Commands that keep running: `simulate` and `serve`. Each has the event loop to itself."""

import asyncio
import contextlib
import errno
import gc
import ipaddress
import logging
import re
import signal
import socket
import sys
from collections.abc import Callable, Coroutine, Iterator
from dataclasses import dataclass, field
from multiprocessing import parent_process
from pathlib import Path
from typing import Any, Final

import uvicorn
import uvloop

from coordinator.api import create_app
from coordinator.api.authentication import Authentication
from coordinator.api.certificate import SERVER_FILE, own_certificate
from coordinator.api.served_at import ON_LOOPBACK, ServedAt
from coordinator.api.server import server_config
from coordinator.api.tokens import Role, Tokens
from coordinator.cli.common import ExitCode, Failure
from coordinator.config.arm import Arm
from coordinator.config.data_folder import locked, read_key
from coordinator.config.settings import LOOPBACK, ServiceSettings, service_type
from coordinator.links.address import has_address
from coordinator.service import running
from simulator.network import PROFILES
from simulator.port import JointPort
from simulator.server import joints_served
from simulator.settings import JointSettings

_NAME: Final = re.compile(r"(?=.{1,253}$)[A-Za-z0-9]([A-Za-z0-9.-]*[A-Za-z0-9])?")
"""Of a host (RFC 1123 2.1), roughly."""


@dataclass(frozen=True, slots=True)
class SimulateSettings:
    """What `simulate` needs to know."""

    joints: tuple[JointSettings, ...]
    data: Path
    interface: str
    network: str
    seed: int
    truth: Path | None
    service_type: str = field(default_factory=service_type)


@dataclass(frozen=True, slots=True)
class Served:
    """Where the API answers, and what whoever comes there must know."""

    url: str
    fingerprint: str | None = None
    """SHA-256 of the certificate, None on loopback, where there is none."""
    tokens: dict[Role, str] = field(default_factory=dict)
    """New ones, to be shown this once."""


def simulate(settings: SimulateSettings, ready: Callable[[list[JointPort]], None]) -> ExitCode:
    """Serve software joints until asked to end."""
    return _run(_simulate(settings, ready))


def serve(settings: ServiceSettings, arm: Arm, ready: Callable[[Served], None]) -> ExitCode:
    """Coordinate an arm until asked to end; `ready` gets the API's address."""
    read_key(settings.data)  # a folder without one is not to be locked
    with locked(settings.data):
        return _run(_serve(settings, arm, ready))


def check_interface(address: str) -> str:
    """The IPv4 address of one interface of this host. Raises Failure."""
    _require_one("--interface", address, "joints and coordinator tell each other where they are")
    return _own(address)


def check_listen(address: str) -> str:
    """One IPv4 address of this host for the API. Raises Failure."""
    _require_one("--listen", address, "a page says by it whom it came from")
    return _own(address)


def _require_one(option: str, address: str, why: str) -> None:
    if address == "0.0.0.0":
        raise Failure(ExitCode.WRONG_INPUT, f"{option} is 0.0.0.0, but must be one address: {why}")


def _own(address: str) -> str:
    """An IPv4 address of this host. Raises Failure."""
    try:
        ipaddress.IPv4Address(address)
    except ipaddress.AddressValueError as error:
        raise Failure(ExitCode.WRONG_INPUT, f"{address!r} is no IPv4 address") from error
    if not has_address(address):
        raise Failure(ExitCode.WRONG_INPUT, f"no interface of this host has the address {address}")
    return address


def check_name(name: str, listen: str) -> str:
    """A name for the certificate and for `Host`. Raises Failure."""
    if listen == LOOPBACK:
        raise Failure(ExitCode.WRONG_INPUT, "--name is for another address than loopback: --listen")
    if not _NAME.fullmatch(name):
        raise Failure(ExitCode.WRONG_INPUT, f"--name is {name!r}, but must be as in 'bench.local'")
    return name


def set_up_logging(level: int) -> None:
    """One line a message on standard error."""
    logging.basicConfig(format="%(asctime)s %(levelname)s %(message)s", stream=sys.stderr)
    logging.getLogger().setLevel(level)
    logging.getLogger("alembic").setLevel(logging.WARNING)
    # Its warnings name nobody, and a client can cause as many as it likes.
    logging.getLogger("uvicorn").setLevel(logging.ERROR)


def check_port(port: int) -> None:
    """Raise Failure for a port that the API cannot have."""
    _listening(LOOPBACK, port).close()


async def _simulate(
    settings: SimulateSettings, ready: Callable[[list[JointPort]], None]
) -> ExitCode:
    ended = _asked_to_end()
    async with joints_served(
        settings.joints,
        read_key(settings.data),
        interface=settings.interface,
        profile=PROFILES[settings.network],
        seed=settings.seed,
        truth=settings.truth,
        service_type=settings.service_type,
    ) as ports:
        ready(ports)
        await ended.wait()
    return ExitCode.DONE


async def _serve(settings: ServiceSettings, arm: Arm, ready: Callable[[Served], None]) -> ExitCode:
    ended = _asked_to_end()
    with _listening(settings.listen, settings.port) as listener:
        served_at, served = _place(settings, listener.getsockname()[1])
        async with running(arm, settings.data, settings.interface) as service:
            app = create_app(service, served_at)
            certificate = settings.data / SERVER_FILE if served.fingerprint else None
            server = _ApiServer(server_config(app, certificate))
            serving = asyncio.create_task(server.serve(sockets=[listener]))
            telling = asyncio.create_task(app.state.feed.run())
            # A full collection pauses everything for tens of ms: leave out what stays for good.
            gc.collect()
            gc.freeze()
            ready(served)
            endings = [
                asyncio.create_task(ended.wait()),
                asyncio.create_task(service.failed.wait()),
            ]
            await asyncio.wait([serving, *endings], return_when=asyncio.FIRST_COMPLETED)
            for task in endings:
                task.cancel()
            failed = service.failed.is_set()
        # The API answers until all is at rest, so that whoever watches sees it.
        server.should_exit = True
        await serving
        telling.cancel()
        await app.state.rehearsals.close()
    if failed:
        raise Failure(ExitCode.NOT_FINISHED, "the coordinator broke; its log above says how")
    return ExitCode.DONE


class _ApiServer(uvicorn.Server):
    """A server that leaves signals to whoever runs it."""

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        """Capture none."""
        yield


def _place(settings: ServiceSettings, port: int) -> tuple[ServedAt, Served]:
    """What the API asks where it is served; elsewhere than on loopback, certificate and tokens."""
    address = settings.listen
    if address == LOOPBACK:
        return ON_LOOPBACK, Served(f"http://{address}:{port}")
    fingerprint = own_certificate(settings.data, address, settings.names)
    tokens = Tokens(settings.data)
    new = tokens.make(tokens.missing())
    hosts = (address, *(name.lower() for name in settings.names))
    return (
        ServedAt("https", hosts, Authentication(tokens)),
        Served(f"https://{address}:{port}", fingerprint, new),
    )


def _listening(address: str, port: int) -> socket.socket:
    try:
        return socket.create_server((address, port))
    except OverflowError as error:
        raise Failure(ExitCode.WRONG_INPUT, f"port {port} is not 0 to 65535") from error
    except OSError as error:
        taken = error.errno == errno.EADDRINUSE
        why = "something else uses it" if taken else str(error.strerror)
        raise Failure(ExitCode.WRONG_INPUT, f"port {port} cannot be had: {why}") from error


def _asked_to_end() -> asyncio.Event:
    """Set by SIGTERM or Ctrl-C, or when the process that started this one is gone."""
    ended = asyncio.Event()
    loop = asyncio.get_running_loop()
    loop.add_signal_handler(signal.SIGTERM, ended.set)
    parent = parent_process()
    if parent is None:
        loop.add_signal_handler(signal.SIGINT, ended.set)
    else:
        # Ctrl-C reaches a whole process group; a child leaves it to its parent, which may hold
        # the arm first and then ends its children.
        signal.signal(signal.SIGINT, signal.SIG_IGN)
        loop.add_reader(parent.sentinel, _parent_gone, loop, parent.sentinel, ended)
    return ended


def _parent_gone(loop: asyncio.AbstractEventLoop, sentinel: int, ended: asyncio.Event) -> None:
    loop.remove_reader(sentinel)
    ended.set()


def _run(work: Coroutine[Any, Any, ExitCode]) -> ExitCode:
    with asyncio.Runner(loop_factory=uvloop.new_event_loop) as runner:
        return runner.run(work)
