"""The WebSocket by which a client follows the live feed, and on which its hand jogs (wishes.py).

Each watcher has its own queue (live_feed.py), so none of them waits for another. Whoever says what
is no wish is shut out.
"""

import asyncio
import contextlib
from typing import Final

import orjson
from fastapi import APIRouter, WebSocket, WebSocketDisconnect

from coordinator.api.control import Who, who_is
from coordinator.api.control_routes import ControlDesk
from coordinator.api.hand import Hand
from coordinator.api.live_feed import LiveFeed, Reader
from coordinator.api.tokens import Role
from coordinator.api.wishes import NoWish, OldSession, Wishes
from coordinator.codes.refusal import RefusalCode
from coordinator.core.events import Command, Refused
from coordinator.links.clock import arm_now_us

MAX_WATCHERS: Final = 250
TRY_AGAIN: Final = 1013
"""WebSocket close code for `try again later` (IANA registry of RFC 6455)."""
POLICY: Final = 1008
"""For a client that breaks the rules (RFC 6455 section 7.4.1)."""
REASON_CHARACTERS: Final = 60
"""A close frame has room for 123 bytes (RFC 6455 section 5.5.1), a character may take two here."""
CLOSE_S: Final = 1.0


def watching(feed: LiveFeed, desk: ControlDesk, hand: Hand) -> APIRouter:
    """The route."""
    router = APIRouter()

    @router.websocket("/feed")
    async def watch(socket: WebSocket, client: str = "", name: str | None = None) -> None:
        await socket.accept()
        if feed.watchers >= MAX_WATCHERS:
            await socket.close(TRY_AGAIN, f"{MAX_WATCHERS} clients watch already")
            return
        reader = feed.join()
        desk.control.feed_opened(client)
        wishing = _Wishing(hand, client, name, socket.state.role)
        try:
            await _serve(socket, reader, Wishes(wishing.command, hand.go_to, hand.session))
        finally:
            wishing.gone()
            feed.leave(reader)
            desk.control.feed_closed(client, arm_now_us())

    return router


class _Wishing:
    """The client behind a feed, as far as it commands."""

    def __init__(self, hand: Hand, client: str, name: str | None, role: Role) -> None:
        self._hand, self._role = hand, role
        self._client, self._name = client, name
        self._who: Who | None = None
        """Once it has wished for something that was carried out."""

    def command(self, command: Command) -> None:
        """Carry out a wish. Raises Refused."""
        if self._role is not Role.OPERATE:
            raise Refused(RefusalCode.CONTROL, "this token may watch, hold and stop, but not jog")
        try:
            who = who_is(self._client or None, self._name)
        except ValueError as error:
            raise NoWish(str(error)) from error
        self._hand.jog(command, who)
        self._who = who

    def gone(self) -> None:
        """Its feed has ended: what its hand moved comes to rest."""
        if self._who is not None:
            self._hand.end(self._who)


async def _serve(socket: WebSocket, reader: Reader, wishes: Wishes) -> None:
    """Send until the client goes, says what is no wish, or is too slow."""
    sending = asyncio.create_task(_send(socket, reader))
    hearing = asyncio.create_task(_hear(socket, reader, wishes))
    slow = asyncio.create_task(reader.dropped.wait())
    tasks = (sending, hearing, slow)
    try:
        await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
    finally:
        for task in tasks:
            task.cancel()
        heard = (await asyncio.gather(*tasks, return_exceptions=True))[1]
    if isinstance(heard, NoWish):
        await _close(socket, POLICY, str(heard)[:REASON_CHARACTERS])
    elif isinstance(heard, OldSession):
        await _close(socket, TRY_AGAIN, "the session is another one")
    elif reader.dropped.is_set():
        await _close(socket, TRY_AGAIN, "too slow a reader")


async def _hear(socket: WebSocket, reader: Reader, wishes: Wishes) -> None:
    """Obey wishes until the client goes. Raises NoWish, OldSession."""
    while True:
        message = await socket.receive()
        if message["type"] != "websocket.receive":
            return
        text = message.get("text")
        if text is None:
            raise NoWish("no wish: bytes; it must be text")
        answer = wishes.take(text, arm_now_us())
        if answer is not None:
            reader.put(orjson.dumps(answer).decode())


async def _send(socket: WebSocket, reader: Reader) -> None:
    with contextlib.suppress(WebSocketDisconnect):
        while True:
            await socket.send_text(await reader.take())


async def _close(socket: WebSocket, code: int, why: str) -> None:
    """Say why, if the client reads it within a while."""
    with contextlib.suppress(TimeoutError, WebSocketDisconnect):
        async with asyncio.timeout(CLOSE_S):
            await socket.close(code, why)
