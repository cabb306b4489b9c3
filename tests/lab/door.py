"""A port on the tests' own loopback that leads to the same port on a host's loopback."""

import contextlib
import select
import socket
import threading
from typing import Final, Self

from tests.lab.hosts import Host

LOOPBACK: Final = "127.0.0.1"
CHUNK_BYTES: Final = 65_536


class Door:
    """Open while entered; carries bytes both ways, so that clients need not be on the host.

    The port is the same on both sides: the API answers only to the address under which it is
    served.
    """

    def __init__(self, host: Host) -> None:
        self._host = host
        self._listener = socket.create_server((LOOPBACK, 0))
        self.port: int = self._listener.getsockname()[1]
        self._thread = threading.Thread(target=self._let_in, name="door", daemon=True)

    def __enter__(self) -> Self:
        """Open it."""
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        """Close it; a connection that is open ends when either side ends it."""
        # What waits in accept is woken by this, and not by closing.
        self._listener.shutdown(socket.SHUT_RDWR)
        self._thread.join()
        self._listener.close()

    def _let_in(self) -> None:
        with contextlib.suppress(OSError):
            while True:
                outer, _ = self._listener.accept()
                threading.Thread(target=self._carry, args=(outer,), daemon=True).start()

    def _carry(self, outer: socket.socket) -> None:
        with outer, self._host.socket(socket.SOCK_STREAM) as inner, contextlib.suppress(OSError):
            inner.connect((LOOPBACK, self.port))
            other = {outer: inner, inner: outer}
            while True:
                readable, _, _ = select.select([outer, inner], [], [])
                for one in readable:
                    data = one.recv(CHUNK_BYTES)
                    if not data:
                        return
                    other[one].sendall(data)
