"""Hosts with network stacks of their own: each is a Linux network namespace with one TAP device.

No root is needed where users may make user namespaces. Programs run on a host by `inside`, sockets
that speak for it are handed out by `socket`; the other end of its cable is `tap`.
"""

import contextlib
import errno
import ipaddress
import json
import os
import shutil
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Self

from tests.lab.keeper import DEVICE, MESSAGE_BYTES, TUN

NETWORK: Final = ipaddress.IPv4Network("10.77.0.0/24")
PATIENCE_S: Final = 20.0
_NEEDS: Final = {"unshare": "util-linux", "nsenter": "util-linux", "ip": "iproute2"}
SETTINGS: Final = Path("/proc/sys")
_FORBIDS: Final = (
    ("user.max_user_namespaces", "0", "10000"),
    ("kernel.unprivileged_userns_clone", "0", "1"),
    ("kernel.apparmor_restrict_unprivileged_userns", "1", "0"),
)
"""Settings of the kernel, the value that forbids user namespaces, and one that allows them."""


class NoLaboratoryError(Exception):
    """Hosts cannot be made here; the text is one sentence that says what helps."""


@dataclass(slots=True)
class Host:
    """One host. `address` is what it has now."""

    name: str
    mac: str
    address: str
    tap: int
    """Frames that the host sends are read here, and those for it written."""
    _namespace: int
    _keeper: "Keeping"

    @property
    def inside(self) -> tuple[str, ...]:
        """What to put before a command so that it runs on this host."""
        here = f"/proc/{os.getpid()}/fd"
        return (
            "nsenter", "--preserve-credentials", f"--user={here}/{self._keeper.user}",
            f"--net={here}/{self._namespace}",
        )  # fmt: skip

    def run(self, *command: str) -> str:
        """Run a command on this host; what it prints."""
        done = subprocess.run(
            [*self.inside, *command], capture_output=True, text=True, timeout=PATIENCE_S
        )
        assert done.returncode == 0, (self.name, command, done.stderr)
        return done.stdout

    def move(self, address: str) -> None:
        """Give it another address in place of the one it has."""
        self.run("ip", "address", "flush", "dev", DEVICE)
        self.run("ip", "address", "add", f"{address}/{NETWORK.prefixlen}", "dev", DEVICE)
        self.address = address

    def socket(self, kind: int = socket.SOCK_DGRAM, protocol: int = 0) -> socket.socket:
        """A new IPv4 socket of this host."""
        (made,) = self._keeper.ask(
            {"host": self.name, "family": socket.AF_INET, "kind": kind, "protocol": protocol}, 1
        )
        return socket.socket(fileno=made)


class Keeping:
    """The process that makes hosts, and what it has made. Raises NoLaboratoryError."""

    def __init__(self) -> None:
        for command, package in _NEEDS.items():
            if shutil.which(command) is None:
                raise NoLaboratoryError(
                    f"the laboratory needs the command {command}, which is not found: install it "
                    f"by 'sudo apt-get install {package}' or your system's counterpart"
                )
        self._lock = threading.Lock()
        self._channel, theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
        self._channel.settimeout(PATIENCE_S)
        self._descriptors: list[int] = []
        keeper = Path(__file__).with_name("keeper.py")
        with theirs:
            self._process = subprocess.Popen(
                ["unshare", "--user", "--map-root-user", sys.executable, str(keeper),
                 str(theirs.fileno())],
                pass_fds=[theirs.fileno()], stdin=subprocess.DEVNULL, stderr=subprocess.PIPE,
                text=True, start_new_session=True,
            )  # fmt: skip
        try:
            (self.user,) = self._kept(self._take(1))
        except OSError as error:
            self.close()
            raise NoLaboratoryError(_why_no_user_namespace(error)) from None

    @classmethod
    @contextlib.contextmanager
    def running(cls) -> Iterator[Self]:
        """From its beginning to its end. Raises NoLaboratoryError."""
        keeping = cls()
        try:
            yield keeping
        finally:
            keeping.close()

    def make(self, name: str, number: int) -> Host:
        """A host whose address ends with this number. Raises NoLaboratoryError."""
        mac = f"02:00:00:00:00:{number:02x}"
        address = str(NETWORK[number])
        wanted = {"host": name, "mac": mac, "address": f"{address}/{NETWORK.prefixlen}"}
        try:
            tap, namespace = self._kept(self.ask(wanted, 2))
        except OSError as error:
            raise NoLaboratoryError(_why_no_host(error)) from None
        os.set_blocking(tap, False)
        return Host(name, mac, address, tap, namespace, self)

    def ask(self, request: dict[str, Any], descriptors: int) -> Sequence[int]:
        """What the process hands out. Raises OSError."""
        with self._lock:
            self._channel.send(json.dumps(request).encode())
            return self._take(descriptors)

    def close(self) -> None:
        """Let all hosts go; whatever still runs on one is cut off."""
        self._channel.close()
        self._process.wait(PATIENCE_S)
        assert self._process.stderr is not None
        self._process.stderr.close()
        for one in self._descriptors:
            os.close(one)
        self._descriptors.clear()

    def _kept(self, descriptors: Sequence[int]) -> Sequence[int]:
        self._descriptors += descriptors
        return descriptors

    def _take(self, count: int) -> Sequence[int]:
        data, found, _, _ = socket.recv_fds(self._channel, MESSAGE_BYTES, count)
        if not data:
            assert self._process.stderr is not None
            raise OSError(errno.EPIPE, self._process.stderr.read().strip())
        if not found:
            said = json.loads(data)
            raise OSError(said["errno"], os.strerror(said["errno"]), said["file"])
        return found


def _why_no_user_namespace(error: OSError) -> str:
    for name, forbids, allows in _FORBIDS:
        setting = SETTINGS.joinpath(*name.split("."))
        if setting.exists() and setting.read_text().strip() == forbids:
            return (
                f"the laboratory needs user namespaces, which {name} = {forbids} forbids: run "
                f"'sudo sysctl -w {name}={allows}', or the tests as root"
            )
    return (
        f"the laboratory needs user namespaces, which cannot be made here ({error.strerror}): run "
        "the tests as root, in a container as 'docker run --privileged'"
    )


def _why_no_host(error: OSError) -> str:
    if error.filename == TUN and error.errno == errno.ENOENT:
        return f"the laboratory needs {TUN}, which is not there: run 'sudo modprobe tun'"
    if error.filename == TUN:
        return (
            f"the laboratory needs {TUN}, which cannot be opened ({error.strerror}): run "
            f"'sudo chmod 0666 {TUN}', or the tests as root"
        )
    return (
        f"the laboratory needs network namespaces, one of which cannot be made "
        f"({error.strerror}): run 'sudo sysctl -w user.max_net_namespaces=10000', or the tests as "
        "root"
    )
