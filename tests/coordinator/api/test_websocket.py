"""Watchers that do not read, on real sockets."""

import asyncio
import contextlib
import socket
from collections.abc import AsyncIterator

import pytest
from starlette.applications import Starlette
from starlette.routing import WebSocketRoute
from starlette.websockets import WebSocket, WebSocketDisconnect

from coordinator.api.websocket import BoundedWebSocket
from tests.coordinator.api.serving import Server, serving

PATIENCE_S = 60.0
PING = b"\x89\xfd\x00\x00\x00\x00" + b"x" * 125
"""The largest one that there is, masked by nothing (RFC 6455 section 5.5)."""
FAR_TOO_MUCH = 200_000_000


class Quick(BoundedWebSocket):
    """As impatient as a test needs it."""

    linger_s = 0.05


async def gush(watcher: WebSocket) -> None:
    """Send until nobody takes it any more, then end."""
    await watcher.accept()
    with contextlib.suppress(TimeoutError, WebSocketDisconnect):
        async with asyncio.timeout(0.2):
            while True:
                await watcher.send_text("x" * 100_000)


async def listen(watcher: WebSocket) -> None:
    """Say nothing, and wait for the end."""
    await watcher.accept()
    await watcher.receive()


@pytest.fixture(name="server")
async def server_of() -> AsyncIterator[Server]:
    app = Starlette(routes=[WebSocketRoute("/gush", gush), WebSocketRoute("/listen", listen)])
    async with asyncio.timeout(PATIENCE_S), serving(app, ws=Quick) as server:
        yield server


async def upgraded(server: Server, path: str) -> socket.socket:
    """A connection that has become a WebSocket, from which nothing more is read."""
    client = socket.socket()
    client.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
    client.setblocking(False)
    loop = asyncio.get_running_loop()
    await loop.sock_connect(client, ("127.0.0.1", server.port))
    # The key is the example of RFC 6455 section 1.3.
    head = (
        f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
        "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\nSec-WebSocket-Version: 13\r\n\r\n"
    )
    await loop.sock_sendall(client, head.encode())
    answer = await loop.sock_recv(client, 200)
    assert b" 101 " in answer
    assert b"s3pPLMBiTxaQ9kYGzzhZRbK+xOo=" in answer
    return client


async def test_a_client_that_does_not_read_is_gone_when_the_app_has_ended(server: Server) -> None:
    with await upgraded(server, "/gush"):
        while server.server_state.connections:
            await asyncio.sleep(0)
        assert not server.server_state.tasks


async def test_pings_are_not_answered_for_ever_to_one_who_does_not_read(server: Server) -> None:
    with await upgraded(server, "/listen") as client:
        sent, waited = 0, 0
        while waited < 1000 and sent < FAR_TOO_MUCH:
            try:
                sent += client.send(PING * 100)
                waited = 0
            except BlockingIOError:
                waited += 1
            await asyncio.sleep(0)
        assert sent < FAR_TOO_MUCH
