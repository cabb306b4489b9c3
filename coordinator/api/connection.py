"""What a client's connection may be before there is a request, which the server does not limit.

The server closes a connection that is silent after an answer, but neither one that never asks nor
one that never comes to the end of a request's head, and it keeps a head of any length in memory.
"""

import asyncio
from typing import Any, Final

from uvicorn.protocols.http.httptools_impl import HttpToolsProtocol

HEAD_S: Final = 10.0
"""For the whole head of a request, from the connection or from its first byte."""
MAX_HEAD_BYTES: Final = 65_536
MAX_CONNECTIONS: Final = 128
"""Together, beside those that watch. A browser has up to six."""
MAX_FROM_ONE: Final = 48
"""From one address: one client's mistake must not shut out another's stop."""


class BoundedHttp(HttpToolsProtocol):
    """A connection whose requests have heads of a bounded size that come within a bounded time."""

    head_s = HEAD_S

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin to wait for the first head."""
        self._timer: asyncio.TimerHandle | None = None
        self._in_head = True
        self._idle_since = self.loop.time()
        self._head_bytes = 0
        super().connection_made(transport)
        # A connection that has become a WebSocket is none of these any more.
        same = [
            one
            for one in self.connections
            if isinstance(one, BoundedHttp)
            and _host(one) == _host(self)
            and not one.transport.is_closing()
        ]
        if len(same) > MAX_FROM_ONE:
            # Who has waited longest for a request makes room: the new one may be a stop.
            idle = [one for one in same if one._is_idle and one is not self]
            min(idle, key=lambda one: one._idle_since, default=self).transport.abort()
        self._wait_for_head()

    def connection_lost(self, exc: Exception | None) -> None:
        """Wait no more."""
        self._head_is_there()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Count what belongs to a head that is not whole yet."""
        if self.transport.is_closing():
            return
        if self._in_head:
            self._wait_for_head()
        super().data_received(data)
        if self._timer is not None:
            self._head_bytes += len(data)
            if self._head_bytes > MAX_HEAD_BYTES:
                self.transport.abort()

    def on_message_begin(self) -> None:
        """A head begins."""
        self._wait_for_head()
        super().on_message_begin()

    def on_headers_complete(self) -> None:
        """A head is whole."""
        self._head_is_there()
        self._in_head = False
        self._head_bytes = 0
        super().on_headers_complete()

    def on_message_complete(self) -> None:
        """A request is whole: the next head may come."""
        self._in_head = True
        self._idle_since = self.loop.time()
        super().on_message_complete()

    @property
    def _is_idle(self) -> bool:
        """Whether nothing was asked that is not answered yet."""
        # There is none before the first request, whatever its type says.
        first = self.cycle is None
        return self._in_head and (first or self.cycle.response_complete)

    def _wait_for_head(self) -> None:
        if self._timer is None:
            self._timer = self.loop.call_later(self.head_s, self.transport.abort)

    def _head_is_there(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None


def _host(connection: Any) -> str:
    client = getattr(connection, "client", None)
    return str(client[0]) if client else ""
