"""Keeps the hosts: runs as root of a user namespace of its own and makes network namespaces in it.

Started by `tests.lab.hosts` under `unshare`, with one socket. It is asked in JSON, answers in JSON
with file descriptors beside it, and ends with the socket. What it hands out lives on with whoever
holds the descriptor: a TAP device, a namespace, a socket that speaks for its host. Only the
standard library is imported, so that it is there at once.
"""

import contextlib
import ctypes
import errno
import fcntl
import json
import os
import socket
import struct
import subprocess
import sys
from pathlib import Path
from typing import Any, Final

CLONE_NEWNET: Final = 0x40000000
TUN: Final = "/dev/net/tun"
# linux/if_tun.h
TUNSETIFF: Final = 0x400454CA
IFF_TAP: Final = 0x0002
IFF_NO_PI: Final = 0x1000

DEVICE: Final = "lan"
"""The name of every host's network device."""
MESSAGE_BYTES: Final = 65_536

_libc = ctypes.CDLL(None, use_errno=True)


class Keeper:
    """Makes hosts, and sockets in them. Python has no `os.unshare` and `os.setns` before 3.12."""

    def __init__(self) -> None:
        self._namespaces: dict[str, int] = {}

    def answer(self, request: dict[str, Any]) -> list[int]:
        """Do what is asked; the descriptors to hand out. Raises OSError."""
        name = request["host"]
        if "mac" in request:
            return self._make(name, request["mac"], request["address"])
        _checked(_libc.setns(self._namespaces[name], CLONE_NEWNET))
        made = socket.socket(request["family"], request["kind"], request["protocol"])
        return [made.detach()]

    def _make(self, name: str, mac: str, address: str) -> list[int]:
        """A namespace with loopback and one TAP device that has an address."""
        _checked(_libc.unshare(CLONE_NEWNET))
        namespace = os.open("/proc/self/ns/net", os.O_RDONLY)
        tap = os.open(TUN, os.O_RDWR | os.O_NONBLOCK)
        # struct ifreq
        fcntl.ioctl(tap, TUNSETIFF, struct.pack("16sH22x", DEVICE.encode(), IFF_TAP | IFF_NO_PI))
        # IPv4 alone is spoken here; what a host says by IPv6 of its own accord is only noise.
        with contextlib.suppress(OSError):
            Path(f"/proc/sys/net/ipv6/conf/{DEVICE}/disable_ipv6").write_text("1")
        for words in (
            "link set lo up",
            f"link set {DEVICE} address {mac}",
            f"address add {address} dev {DEVICE}",
            f"link set {DEVICE} up",
        ):
            subprocess.run(["ip", *words.split()], check=True)
        self._namespaces[name] = namespace
        return [tap, os.dup(namespace)]


def _checked(result: int) -> None:
    if result != 0:
        number = ctypes.get_errno()
        raise OSError(number, os.strerror(number))


def main(descriptor: int) -> None:
    """Answer until the socket is closed."""
    keeper = Keeper()
    with socket.socket(fileno=descriptor) as channel:
        _hand_out(channel, [os.open("/proc/self/ns/user", os.O_RDONLY)])
        while request := channel.recv(MESSAGE_BYTES):
            try:
                found = keeper.answer(json.loads(request))
            except OSError as error:
                said = {"errno": error.errno or errno.EIO, "file": error.filename}
                channel.send(json.dumps(said).encode())
                continue
            _hand_out(channel, found)


def _hand_out(channel: socket.socket, descriptors: list[int]) -> None:
    socket.send_fds(channel, [b"{}"], descriptors)
    for one in descriptors:
        os.close(one)


if __name__ == "__main__":
    main(int(sys.argv[1]))
