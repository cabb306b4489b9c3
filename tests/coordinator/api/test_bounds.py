"""Clients that send too much, too slowly or nothing, on real sockets."""

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable
from typing import Any

import pytest
import uvicorn
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from coordinator.api import middleware as guard
from coordinator.api.connection import MAX_FROM_ONE, MAX_HEAD_BYTES, BoundedHttp
from coordinator.api.middleware import POSTS_AT_ONCE, READS_AT_ONCE, RequestChecks
from coordinator.api.served_at import ON_LOOPBACK

MAX_BODY = 1000
HOST = b"Host: 127.0.0.1\r\n"
Stream = tuple[asyncio.StreamReader, asyncio.StreamWriter]
Connect = Callable[[], Any]


class Quick(BoundedHttp):
    """As impatient as a test needs it."""

    head_s = 0.5


class Server(uvicorn.Server):
    @contextlib.contextmanager
    def capture_signals(self) -> Any:
        yield


async def echo(request: Request) -> Response:
    request.app.state.asked.set()
    return PlainTextResponse(str(len(await request.body())))


async def slow(request: Request) -> Response:
    """Answered once something else was asked."""
    await request.app.state.asked.wait()
    return PlainTextResponse("slow")


@pytest.fixture(name="connect")
async def connect_to_server() -> AsyncIterator[Connect]:
    """Connect to a server whose patience is short, but whose limits are those of the product."""
    paths = ("/api/v1/hold", "/api/v1/stop", "/api/v1/home")
    routes = [Route(path, echo, methods=["GET", "POST"]) for path in paths]
    app = Starlette(routes=[*routes, Route("/api/v1/slow", slow), Route("/page.js", echo)])
    app.state.asked = asyncio.Event()
    guarded = RequestChecks(app, ON_LOOPBACK, MAX_BODY, body_s=0.2)
    config = uvicorn.Config(
        guarded, port=0, http=Quick, ws="none", lifespan="off", log_config=None, access_log=False
    )
    server = Server(config)
    serving = asyncio.create_task(server.serve())
    while not server.started:
        await asyncio.sleep(0)
    port = server.servers[0].sockets[0].getsockname()[1]
    writers: list[asyncio.StreamWriter] = []

    async def connect() -> Stream:
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        writers.append(writer)
        return reader, writer

    yield connect
    for writer in writers:
        writer.close()
    server.should_exit = True
    await serving


async def rest(reader: asyncio.StreamReader) -> bytes:
    """All until the server closes the connection."""
    with contextlib.suppress(ConnectionResetError):
        return await reader.read()
    return b""


async def answer(reader: asyncio.StreamReader) -> bytes:
    """One answer, head and body, of a connection that stays open."""
    head = await reader.readuntil(b"\r\n\r\n")
    length = int(head.lower().split(b"content-length: ")[1].split(b"\r\n")[0])
    return head + await reader.readexactly(length)


async def send_on(writer: asyncio.StreamWriter, part: bytes) -> None:
    """Go on sending until nobody takes it any more."""
    with contextlib.suppress(ConnectionError):
        while not writer.is_closing():
            writer.write(part)
            await writer.drain()
            await asyncio.sleep(0)


async def test_a_client_that_says_nothing_is_dropped(connect: Connect) -> None:
    reader, _ = await connect()
    assert await rest(reader) == b""


async def test_a_client_that_never_ends_its_head_is_dropped(connect: Connect) -> None:
    reader, writer = await connect()
    writer.write(b"GET /api/v1/hold HTTP/1.1\r\n" + HOST)
    assert await rest(reader) == b""


async def test_a_client_that_drips_its_head_is_dropped_though_it_is_never_silent(
    connect: Connect,
) -> None:
    reader, writer = await connect()
    writer.write(b"GET /api/v1/hold HTTP/1.1\r\n")
    sending = asyncio.create_task(send_on(writer, b"A"))
    assert await rest(reader) == b""
    sending.cancel()


async def test_a_head_without_end_is_not_kept(connect: Connect) -> None:
    reader, writer = await connect()
    writer.write(b"GET /api/v1/hold HTTP/1.1\r\nA: " + b"x" * (2 * MAX_HEAD_BYTES))
    assert await rest(reader) == b""


async def test_a_second_head_on_a_connection_has_its_time_too(connect: Connect) -> None:
    reader, writer = await connect()
    writer.write(b"GET /api/v1/hold HTTP/1.1\r\n" + HOST + b"\r\n")
    assert b"200 OK" in await answer(reader)
    writer.write(b"GET /api/v1/hold HTTP/1.1\r\n")
    assert await rest(reader) == b""


async def test_line_ends_between_requests_do_not_keep_a_connection(connect: Connect) -> None:
    reader, writer = await connect()
    writer.write(b"GET /api/v1/hold HTTP/1.1\r\n" + HOST + b"\r\n")
    assert b"200 OK" in await answer(reader)
    sending = asyncio.create_task(send_on(writer, b"\r\n"))
    assert await rest(reader) == b""
    sending.cancel()


async def test_a_body_that_does_not_come_is_answered_and_the_connection_closed(
    connect: Connect,
) -> None:
    reader, writer = await connect()
    writer.write(b"POST /api/v1/home HTTP/1.1\r\n" + HOST + b"Content-Length: 10\r\n\r\nabc")
    told = await rest(reader)
    assert b"408 Request Timeout" in told
    assert b"urn:unisono:problem:slow" in told


@pytest.mark.parametrize("length", [MAX_BODY + 1, 10**14])
async def test_a_body_said_to_be_too_large_is_refused_before_it_comes(
    connect: Connect, length: int
) -> None:
    reader, writer = await connect()
    writer.write(b"POST /api/v1/home HTTP/1.1\r\n" + HOST + b"Content-Length: %d\r\n\r\n" % length)
    assert b"413 " in await rest(reader)


async def test_a_body_without_end_is_cut_off(connect: Connect) -> None:
    reader, writer = await connect()
    writer.write(b"POST /api/v1/home HTTP/1.1\r\n" + HOST + b"Transfer-Encoding: chunked\r\n\r\n")
    sending = asyncio.create_task(send_on(writer, b"64\r\n" + b"x" * 100 + b"\r\n"))
    told = await rest(reader)  # a reset may overtake the answer
    assert not told or b"413 " in told
    await sending


@pytest.mark.parametrize(
    "text",
    [
        b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03",  # the begin of a TLS hello
        b"HELLO\r\n\r\n",
        b"GET /api/v1/hold HTTP/9.9\r\n\r\n",
        b"POST /api/v1/home HTTP/1.1\r\nContent-Length: -1\r\n\r\n",
        b"POST /api/v1/home HTTP/1.1\r\nContent-Length: 99999999999999999999999\r\n\r\n",
        b"POST /api/v1/home HTTP/1.1\r\nContent-Length: 5\r\nTransfer-Encoding: chunked\r\n\r\n",
        b"\x00" * 100,
    ],
)
async def test_what_is_no_request_ends_the_connection(connect: Connect, text: bytes) -> None:
    reader, writer = await connect()
    writer.write(text)
    told = await rest(reader)
    assert not told or b" 400 " in told or b" 403 " in told


async def test_one_address_cannot_have_all_connections_and_the_longest_idle_makes_room(
    connect: Connect,
) -> None:
    kept = [await connect() for _ in range(MAX_FROM_ONE)]
    reader, writer = await connect()
    writer.write(b"POST /api/v1/hold HTTP/1.1\r\n" + HOST + b"Content-Length: 0\r\n\r\n")
    assert b"200 OK" in await answer(reader)
    assert await rest(kept[0][0]) == b""
    assert not kept[1][0].at_eof()


async def test_who_waits_for_an_answer_makes_no_room(connect: Connect) -> None:
    waiting, writer = await connect()
    writer.write(b"GET /api/v1/slow HTTP/1.1\r\n" + HOST + b"\r\n")
    idle = [await connect() for _ in range(MAX_FROM_ONE - 1)]
    _, other = await connect()
    other.write(b"POST /api/v1/hold HTTP/1.1\r\n" + HOST + b"Content-Length: 0\r\n\r\n")
    assert b"slow" in await answer(waiting)
    assert await rest(idle[0][0]) == b""


async def test_commands_and_questions_that_come_too_fast_wait_each_for_itself_but_hold_and_stop(
    connect: Connect, monkeypatch: pytest.MonkeyPatch
) -> None:
    reader, writer = await connect()

    async def ask(line: bytes) -> bytes:
        writer.write(line + b" HTTP/1.1\r\n" + HOST + b"Content-Length: 0\r\n\r\n")
        return await answer(reader)

    async def until_too_fast(line: bytes, at_once: int) -> bytes:
        told = b""
        for _ in range(50 * at_once):
            told = await ask(line)
            if b"200 OK" not in told:
                break
        return told

    told = await until_too_fast(b"POST /api/v1/home", POSTS_AT_ONCE)
    assert b"429 Too Many Requests" in told
    assert b"retry-after: 1\r\n" in told
    for line in (b"POST /api/v1/hold", b"GET /api/v1/home"):
        assert b"200 OK" in await ask(line)
    # A clock that stands still stands in for a client that is faster than this machine.
    monkeypatch.setattr(guard, "arm_now_us", lambda: 0)
    for line in (b"POST /api/v1/jog", b"POST /api/v1/override", b"POST /api/v1/play"):
        assert b"over 50 commands a second" in await ask(line)
    told = await until_too_fast(b"GET /api/v1/home", READS_AT_ONCE)
    assert b"429 Too Many Requests" in told
    assert b"over 200 questions a second" in told
    for line in (b"POST /api/v1/stop", b"GET /page.js"):
        assert b"200 OK" in await ask(line)
