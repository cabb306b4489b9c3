"""The WebSocket by which a client follows the live feed. It only tells: whoever speaks is shut out.

Each watcher has its own queue (feed.py), so none of them waits for another.
"""

import asyncio
import contextlib
from typing import Final

from fastapi import APIRouter, WebSocket, WebSocketDisconnect

from coordinator.api.desk import Desk
from coordinator.api.feed import Feed, Reader
from coordinator.links.clock import arm_now_us

MAX_WATCHERS: Final = 250
TRY_AGAIN: Final = 1013
"""WebSocket close code for `try again later` (IANA registry of RFC 6455)."""
POLICY: Final = 1008
"""For a client that breaks the rules (RFC 6455 section 7.4.1)."""
CLOSE_S: Final = 1.0


def watching(feed: Feed, desk: Desk) -> APIRouter:
    """The route."""
    router = APIRouter()

    @router.websocket("/feed")
    async def watch(socket: WebSocket, client: str = "") -> None:
        await socket.accept()
        if feed.watchers >= MAX_WATCHERS:
            await socket.close(TRY_AGAIN, f"{MAX_WATCHERS} clients watch already")
            return
        reader = feed.join()
        desk.control.feed_opened(client)
        try:
            await _serve(socket, reader)
        finally:
            feed.leave(reader)
            desk.control.feed_closed(client, arm_now_us())

    return router


async def _serve(socket: WebSocket, reader: Reader) -> None:
    """Send until the client goes, speaks, or is too slow."""
    sending = asyncio.create_task(_send(socket, reader))
    hearing = asyncio.create_task(socket.receive())
    slow = asyncio.create_task(reader.dropped.wait())
    tasks = (sending, hearing, slow)
    try:
        await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
    finally:
        for task in tasks:
            task.cancel()
        heard = (await asyncio.gather(*tasks, return_exceptions=True))[1]
    spoke = isinstance(heard, dict) and heard["type"] == "websocket.receive"
    if spoke:
        await _close(socket, POLICY, "the feed only tells; send commands by HTTP")
    elif reader.dropped.is_set():
        await _close(socket, TRY_AGAIN, "too slow a reader")


async def _send(socket: WebSocket, reader: Reader) -> None:
    with contextlib.suppress(WebSocketDisconnect):
        while True:
            await socket.send_text(await reader.take())


async def _close(socket: WebSocket, code: int, why: str) -> None:
    """Say why, if the client reads it within a while."""
    with contextlib.suppress(TimeoutError, WebSocketDisconnect):
        async with asyncio.timeout(CLOSE_S):
            await socket.close(code, why)
