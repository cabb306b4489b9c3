"""What commands that keep running share: their place on this computer, and how they end.

What one of them runs is in `simulating.py` and `serving.py`, so that neither waits for the other's
imports.
"""

import asyncio
import errno
import ipaddress
import logging
import re
import signal
import socket
import sys
from collections.abc import Coroutine
from multiprocessing import parent_process
from typing import Any, Final

import uvloop

from coordinator.cli.common import ExitCode, Failure
from coordinator.config.settings import LOOPBACK
from coordinator.links.address import has_address

_NAME: Final = re.compile(r"(?=.{1,253}$)[A-Za-z0-9]([A-Za-z0-9.-]*[A-Za-z0-9])?")
"""Of a host (RFC 1123 2.1), roughly."""


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
    listening(LOOPBACK, port).close()


def listening(address: str, port: int) -> socket.socket:
    """A socket that the API is to be served on. Raises Failure."""
    try:
        return socket.create_server((address, port))
    except OverflowError as error:
        raise Failure(ExitCode.WRONG_INPUT, f"port {port} is not 0 to 65535") from error
    except OSError as error:
        taken = error.errno == errno.EADDRINUSE
        why = "something else uses it" if taken else str(error.strerror)
        raise Failure(ExitCode.WRONG_INPUT, f"port {port} cannot be had: {why}") from error


def asked_to_end() -> asyncio.Event:
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


def run_alone(work: Coroutine[Any, Any, ExitCode]) -> ExitCode:
    """Give it the event loop to itself, until it is done."""
    with asyncio.Runner(loop_factory=uvloop.new_event_loop) as runner:
        return runner.run(work)
