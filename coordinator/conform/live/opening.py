"""The WebSocket itself (RFC 6455), before any message of the protocol."""

import asyncio
import os
from contextlib import AsyncExitStack, suppress
from typing import Final

from websockets.asyncio.client import ClientConnection
from websockets.exceptions import ConnectionClosed, InvalidHandshake, InvalidStatus

from coordinator.codes.os_words import os_words
from coordinator.conform.bench import Bench
from coordinator.conform.check import Lost, Section, Wrong, equal, require
from coordinator.conform.stream import (
    PATIENCE_S,
    connection,
    hello,
    opened,
    received,
    require_closed,
    require_reject,
)
from protocol.constants import MAX_FRAME_BYTES, MAX_OPENING_BYTES, SUBPROTOCOL

STREAM: Final = Section("the-stream")


async def _status(bench: Bench, **how: object) -> int:
    try:
        socket = await connection(bench.place, **how)  # type: ignore[arg-type]
    except InvalidStatus as error:
        return error.response.status_code
    except (InvalidHandshake, TimeoutError, OSError) as error:
        raise Wrong("an answer by HTTP", f"{type(error).__name__}: {os_words(error)}") from error
    await socket.close()
    return 101


async def _greets(bench: Bench, socket: ClientConnection) -> None:
    """Raises Wrong unless a hello is answered there."""
    await socket.send(hello(1, bench.coordinator, os.urandom(32)))
    came = await received(socket)
    if not isinstance(came, str) or '"welcome"' not in came:
        raise Wrong("a welcome", f"{came!r}")


@STREAM.check("path", "Another path than the announced one is answered by HTTP 404.")
async def path(bench: Bench) -> None:
    equal("status", 404, await _status(bench, path="/another-path"))


@STREAM.check("no-subprotocol", "An opening without the subprotocol is answered by HTTP 400.")
async def no_subprotocol(bench: Bench) -> None:
    equal("status", 400, await _status(bench, subprotocols=()))


@STREAM.check("other-subprotocol", "An opening with another subprotocol alone is answered by 400.")
async def other_subprotocol(bench: Bench) -> None:
    equal("status", 400, await _status(bench, subprotocols=("unisono.joint.v9",)))


@STREAM.check("some-subprotocols", "Of several subprotocols it takes its own, and names it.")
async def some_subprotocols(bench: Bench) -> None:
    offered = ("unisono.joint.v9", SUBPROTOCOL)
    async with connection(bench.place, subprotocols=offered) as socket:
        equal("subprotocol", SUBPROTOCOL, socket.subprotocol)


@STREAM.check("compression", "An offer of compression is left unanswered.")
async def compression(bench: Bench) -> None:
    async with connection(bench.place, compression="deflate") as socket:
        assert socket.response is not None
        equal("extensions", None, socket.response.headers.get("Sec-WebSocket-Extensions"))
        await _greets(bench, socket)


@STREAM.check("origin", "Origin and cookies are not looked at.")
async def origin(bench: Bench) -> None:
    how = {"origin": "http://elsewhere.example", "headers": {"Cookie": "a=b"}}
    async with connection(bench.place, **how) as socket:  # type: ignore[arg-type]
        await _greets(bench, socket)


@STREAM.check("long-opening", "An opening request of 512 bytes, with all headers, is served.")
async def long_opening(bench: Bench) -> None:
    async with connection(bench.place) as socket:
        assert socket.request is not None
        size = len(socket.request.serialize())
    filler = {"X-Filler": "x" * (512 - size - len("X-Filler: \r\n"))}
    async with connection(bench.place, headers=filler) as socket:
        assert socket.request is not None
        assert len(socket.request.serialize()) == 512
        await _greets(bench, socket)


async def _pings(socket: ClientConnection) -> None:
    try:
        async with asyncio.timeout(PATIENCE_S):
            await (await socket.ping(b"unisono"))
    except (TimeoutError, ConnectionClosed):
        raise Wrong("a pong with the ping's content", "none") from None


@STREAM.check("ping-before", "A ping before the proof is answered by a pong of the same content.")
async def ping_before(bench: Bench) -> None:
    async with connection(bench.place) as socket:
        await _pings(socket)


@STREAM.check("ping-after", "A ping on the proven stream is answered by a pong.")
async def ping_after(bench: Bench) -> None:
    await _pings(bench.talk.stream.socket)


@STREAM.check("fragments", "A message is taken in any number of fragments, with pings between.")
async def fragments(bench: Bench) -> None:
    async with connection(bench.place) as socket:
        text = hello(1, bench.coordinator, os.urandom(32))
        socket.protocol.send_text(text[:10].encode(), fin=False)
        socket.protocol.send_ping(b"between")
        socket.protocol.send_continuation(text[10:11].encode(), fin=False)
        socket.protocol.send_continuation(text[11:].encode(), fin=True)
        socket.send_data()
        came = await received(socket)
        require(isinstance(came, str) and '"welcome"' in came, "a welcome", came)


@STREAM.check("largest-before", "Before the proof a message of 512 bytes is read.")
async def largest_before(bench: Bench) -> None:
    async with connection(bench.place) as socket:
        await socket.send(" " * MAX_OPENING_BYTES)
        await require_reject(socket, "message-invalid")


@STREAM.check("larger-before", "Before the proof a message of 513 bytes ends the stream with 1009.")
async def larger_before(bench: Bench) -> None:
    async with connection(bench.place) as socket:
        await socket.send(" " * (MAX_OPENING_BYTES + 1))
        await require_closed(socket, 1009)


@STREAM.check("larger-fragments", "513 bytes end it with 1009 in fragments too.")
async def larger_fragments(bench: Bench) -> None:
    async with connection(bench.place) as socket:
        socket.protocol.send_text(b" " * 300, fin=False)
        socket.protocol.send_continuation(b" " * 213, fin=True)
        socket.send_data()
        await require_closed(socket, 1009)


@STREAM.check("largest-after", "After the proof a frame of 4096 bytes is read and answered.")
async def largest_after(bench: Bench) -> None:
    body = b'{"type":"blink"' + b" " * (MAX_FRAME_BYTES - 24 - 16) + b"}"
    equal("answer", "ack", await bench.talk.ask(body))


@STREAM.check("larger-after", "After the proof a message of 4097 bytes ends the stream with 1009.")
async def larger_after(bench: Bench) -> None:
    stream = bench.talk.stream
    _, frame = stream.sealer.seal(b'{"type":"blink"' + b" " * (MAX_FRAME_BYTES - 24 - 15) + b"}")
    assert len(frame) == MAX_FRAME_BYTES + 1
    await stream.socket.send(frame)
    await stream.require_end()
    equal("close code", 1009, stream.socket.close_code)


@STREAM.check("not-utf-8", "Text that is no UTF-8 ends the stream with 1007.")
async def not_utf_8(bench: Bench) -> None:
    async with connection(bench.place) as socket:
        socket.protocol.send_text(b"\xff")
        socket.send_data()
        await require_closed(socket, 1007)


@STREAM.check("held-open", "Six bare connections that are held open keep nobody out.")
async def held_open(bench: Bench) -> None:
    async with AsyncExitStack() as stack:
        for _ in range(6):
            _, writer = await asyncio.open_connection(bench.place.host, bench.place.port)
            stack.callback(writer.close)
        try:
            stream = await bench.again()
        except Lost as error:
            raise Wrong("a stream beside the bare connections", str(error)) from error
        equal("answer", "ack", await stream.ask(b'{"type":"blink"}'))


@STREAM.check("proven-stays", "The proven stream gives way to no stranger.")
async def proven_stays(bench: Bench) -> None:
    async with AsyncExitStack() as stack:
        for _ in range(4):
            with suppress(Lost):
                socket = await opened(bench.place)
                stack.push_async_callback(socket.close)
        equal("answer", "ack", await bench.talk.ask(b'{"type":"blink"}'))


@STREAM.check("oldest-goes", "Of three unproven connections of one address the oldest is closed.")
async def oldest_goes(bench: Bench) -> None:
    async with AsyncExitStack() as stack:
        sockets = []
        for _ in range(3):
            sockets.append(await opened(bench.place))
            stack.push_async_callback(sockets[-1].close)
        await require_closed(sockets[0])
        await _greets(bench, sockets[1])
        await _greets(bench, sockets[2])
