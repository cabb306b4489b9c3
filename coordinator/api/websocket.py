"""What a watcher's connection may cost, which the server does not limit by itself.

The server answers every ping, however little is read, and ends a connection only when everything
written to it was read: both could be never.
"""

import asyncio
from typing import Final

from uvicorn.protocols.websockets.websockets_sansio_impl import WebSocketsSansIOProtocol

LINGER_S: Final = 1.0
"""For a client to read why the connection ends."""


class BoundedWebSocket(WebSocketsSansIOProtocol):
    """A WebSocket that hears nobody who does not read, and ends when it is to."""

    linger_s = LINGER_S
    _linger: asyncio.TimerHandle | None = None

    def pause_writing(self) -> None:
        """Too much waits to be read: hear nothing that would be answered with more."""
        super().pause_writing()
        self.transport.pause_reading()

    def resume_writing(self) -> None:
        """Enough was read."""
        super().resume_writing()
        if not self.read_paused:
            self.transport.resume_reading()

    async def run_asgi(self) -> None:
        """Serve until the app has ended, then a little longer."""
        try:
            await super().run_asgi()
        finally:
            self._linger = self.loop.call_later(self.linger_s, self.transport.abort)

    def connection_lost(self, exc: Exception | None) -> None:
        """Wait no more."""
        if self._linger is not None:
            self._linger.cancel()
        super().connection_lost(exc)
