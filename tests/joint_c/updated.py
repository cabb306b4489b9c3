"""Boards that get firmware, whatever becomes of their power meanwhile."""

import contextlib
import random
import shutil
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from coordinator.cable.conversation import Conversation
from coordinator.cable.port import Port
from protocol.cable import requests
from protocol.cable.requests import Kind
from protocol.messages import Welcome
from tests.joint_c.bare import PASSWORD, SSID, Bench, Board
from tests.joint_c.updating import HOST, KEY, UPDATE_KEY, Signed, Stream, stream

OLD, NEW = "unisono-joint-c 1", "unisono-joint-c 2"
SET_UP = (
    (Kind.SET_KEY, KEY),
    (Kind.SET_WIFI, requests.wifi_body(SSID.encode(), PASSWORD)),
    (Kind.SET_NAME, requests.name_body("elbow")),
    (Kind.SET_UPDATE_KEY, UPDATE_KEY),
)


def set_up(build: Path, folder: Path) -> Path:
    """The memory of a board that was told all over its cable."""
    folder.mkdir(exist_ok=True)
    bench = Bench(build, folder)
    with bench.board() as board, Port(board.port) as port:
        for kind, body in SET_UP:
            Conversation(port).do(kind, body)
    return bench.memory


def script(build: Path) -> bytes:
    """The new firmware in one frame: a script that becomes it."""
    return f'#!/bin/sh\nexec {build / "joint-next"} "$@"\n'.encode()


def free_port() -> int:
    """A TCP port that nobody has now, and none of those that the kernel gives away: a joint gives
    its own back for a moment whenever it restarts, and must get it again.
    """
    lowest_given, _ = Path("/proc/sys/net/ipv4/ip_local_port_range").read_text().split()
    while True:
        found = random.SystemRandom().randrange(10_000, int(lowest_given))
        with socket.socket() as one, contextlib.suppress(OSError):
            one.bind((HOST, found))
            return found


@dataclass(frozen=True, slots=True)
class Updated:
    """A board's memory, which outlives its power."""

    bench: Bench

    @classmethod
    def copy_of(cls, memory: Path, build: Path, folder: Path) -> "Updated":
        folder.mkdir()
        shutil.copytree(memory, folder / "memory")
        return cls(Bench(build, folder))

    @contextmanager
    def power(self, *options: str) -> Iterator[tuple[Board, int]]:
        """The board, and the port of its joint."""
        port = free_port()
        with self.bench.board("--stream-port", str(port), *options, joint=True) as board:
            yield board, port

    def require_kept(self, board: Board, firmware: str) -> None:
        """What was told over the cable is there, and it says what runs."""
        who = board.who()
        assert (who.has_key, who.ssid, who.name) == (True, SSID.encode(), "elbow")
        assert (who.has_update_key, who.firmware) == (True, firmware)
        with Port(board.port) as port:
            # They are these, and no parts of them.
            Conversation(port).do(Kind.SET_KEY, KEY)
            Conversation(port).do(Kind.SET_UPDATE_KEY, UPDATE_KEY)


def require_told(welcome: Welcome, image: Signed | None, on_trial: bool) -> None:
    """Which firmware runs, and whether for good."""
    wanted = None if image is None else image.header.sha256.hex()
    told = (welcome.firmware, welcome.image, welcome.on_trial)
    assert told == (OLD if image is None else image.header.firmware, wanted, on_trial)
    assert (welcome.capabilities.board, welcome.capabilities.image_capacity) == ("posix", 64 << 20)


def bring_and_install(link: Stream, image: Signed) -> None:
    """The whole way of an image up to the restart."""
    link.bring_all(image, link.announce(image))
    link.install()


def confirm(port: int, image: Signed) -> None:
    """What is on trial is to stay."""
    with stream(port) as link:
        require_told(link.welcome, image, on_trial=True)
        link.drive()
    with stream(port) as link:
        require_told(link.welcome, image, on_trial=False)
