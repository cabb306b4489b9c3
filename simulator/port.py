"""One software joint on its two ports: a UDP port and a WebSocket, behind an impaired link.

World time is the host's raw monotonic clock, in µs. Whatever arrives, goes out or falls due has
an instant of its own in that time and is dealt with in that order. The loop may wake up late:
then things are sent late, as by a slow network, but nothing that happened is changed.
"""

import asyncio
import contextlib
import heapq
import http
import itertools
import logging
import os
import time
from collections.abc import Callable
from functools import partial
from typing import Final, cast

from websockets.asyncio.server import Server, ServerConnection, serve
from websockets.exceptions import ConnectionClosed
from websockets.frames import CloseCode
from websockets.http11 import Request, Response
from websockets.typing import Subprotocol

from protocol.constants import (
    HANDSHAKE_TIMEOUT_US,
    MAX_DATAGRAM_BYTES,
    MAX_FRAME_BYTES,
    MAX_OPENING_BYTES,
    STREAM_PATH,
    SUBPROTOCOL,
    US,
)
from protocol.keys import NONCE_BYTES
from simulator.joint.endpoint import StreamOut
from simulator.network import Direction, Link
from simulator.unit import JointUnit, WorldTruth

MAX_FRAMES_ON_WAY: Final = 32
"""Frames of one stream that are delayed and not yet arrived; reading waits while there are more."""
MAX_FRAMES_OUT: Final = 32
"""Frames that a peer has not taken; with more its stream is dropped."""
PING_S: Final = 5.0

Address = tuple[str, int]
_logger = logging.getLogger(__name__)


def world_us() -> float:
    """The world's time in µs: raw monotonic, as the coordinator's arm time is."""
    return time.clock_gettime_ns(time.CLOCK_MONOTONIC_RAW) / 1000


class _Stream:
    """A TCP connection, from its first byte on, and what waits to be written to its WebSocket."""

    def __init__(self, socket: ServerConnection) -> None:
        self.socket = socket
        self.is_open = False
        """Whether it has become a WebSocket."""
        self.out: asyncio.Queue[str | bytes | CloseCode] = asyncio.Queue(MAX_FRAMES_OUT)
        self.on_way = asyncio.Semaphore(MAX_FRAMES_ON_WAY)

    def put(self, frame: str | bytes | CloseCode, _at_us: float) -> None:
        """Queue a frame, or with what to close; a peer that takes nothing loses its stream."""
        if self.out.full() or (not self.is_open and isinstance(frame, CloseCode)):
            self.socket.transport.abort()
            return
        if isinstance(frame, bytes):
            # The first one acknowledges the proof: from now on it is no stranger's.
            self.socket.protocol.max_message_size = MAX_FRAME_BYTES
        self.out.put_nowait(frame)

    async def write(self) -> None:
        """Write until closed."""
        while not isinstance(frame := await self.out.get(), CloseCode):
            await self.socket.send(frame)
        await self.socket.close(frame)


class _Connection(ServerConnection):
    """Counts for the joint from its first byte on: also one that never asks for a WebSocket."""

    port: "JointPort"
    stream_id: int

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        super().connection_made(transport)
        self.stream_id = self.port.connected(self)

    def connection_lost(self, exc: Exception | None) -> None:
        super().connection_lost(exc)
        self.port.disconnected(self.stream_id)


class JointPort(asyncio.DatagramProtocol):
    """A joint's unit, its sockets, and the link between them."""

    def __init__(
        self, unit: JointUnit, link: Link, on_truth: Callable[[str, WorldTruth], None]
    ) -> None:
        self.unit = unit
        self.udp_port = 0
        self.stream_port = 0
        self.instance = ""
        """Its DNS-SD name, once it is announced."""
        self.on_restart: Callable[[], None] | None = None
        """Called when the joint is in another boot than before."""
        self._boot = unit.joint.identity.boot
        self._link = link
        self._on_truth = on_truth
        self._queue: list[tuple[float, int, Callable[[float], None]]] = []
        self._order = itertools.count()
        self._streams: dict[int, _Stream] = {}
        self._stream_ids = itertools.count(1)
        self._timer: asyncio.TimerHandle | None = None
        self._transport: asyncio.DatagramTransport | None = None
        self._server: Server | None = None

    async def open(self, interface: str) -> None:
        """Bind free ports on an interface's address. Raises OSError."""
        loop = asyncio.get_running_loop()
        transport, _ = await loop.create_datagram_endpoint(lambda: self, local_addr=(interface, 0))
        self._transport = transport
        self.udp_port = transport.get_extra_info("sockname")[1]
        self.unit.listens_at(self.udp_port)
        self._server = await serve(
            self._serve,
            interface,
            0,
            subprotocols=[Subprotocol(SUBPROTOCOL)],
            process_request=self._admit,
            compression=None,
            server_header=None,
            open_timeout=HANDSHAKE_TIMEOUT_US / US,
            ping_interval=PING_S,
            ping_timeout=PING_S,
            close_timeout=1.0,
            max_size=MAX_OPENING_BYTES,
            create_connection=type("_OwnConnection", (_Connection,), {"port": self}),
            logger=_stream_logger(),
        )
        self.stream_port = next(iter(self._server.sockets)).getsockname()[1]
        self._go_on()

    async def close(self) -> None:
        """Close both ports and all streams."""
        if self._timer is not None:
            self._timer.cancel()
        if self._transport is not None:
            self._transport.close()
        if self._server is not None:
            self._server.close()
            await self._server.wait_closed()

    @property
    def under_way(self) -> int:
        """Frames and datagrams on the link, in both directions."""
        return len(self._queue)

    def tell(self, truth: WorldTruth) -> None:
        """Hand on what truly happened."""
        self._on_truth(self.unit.settings.name, truth)

    # ---- the world ------------------------------------------------------------------------

    def _at(self, at_us: float, act: Callable[[float], None]) -> None:
        """Let something happen at an instant that is not before anything dealt with."""
        heapq.heappush(self._queue, (at_us, next(self._order), act))

    def _go_on(self) -> None:
        """Deal with all that is due, in order, and sleep until the next."""
        wait_us = 0.0
        while wait_us <= 0.0:
            now = world_us()
            while self._queue and self._queue[0][0] <= now:
                at_us, _, act = heapq.heappop(self._queue)
                self._send(self.unit.poll(at_us), at_us)
                act(at_us)
                self._send(self.unit.poll(at_us), at_us)
            self._send(self.unit.poll(now), now)
            for truth in self.unit.take_truth():
                self.tell(truth)
            self._look_at_boot()
            due = [self.unit.next_deadline(), *(entry[0] for entry in self._queue[:1])]
            wait_us = min(due) - world_us()
        if self._timer is not None:
            self._timer.cancel()
        self._timer = asyncio.get_running_loop().call_later(wait_us / US, self._go_on)

    def _look_at_boot(self) -> None:
        boot = self.unit.joint.identity.boot
        if boot != self._boot:
            self._boot = boot
            if self.on_restart is not None:
                self.on_restart()

    # ---- datagrams ------------------------------------------------------------------------

    def datagram_received(self, data: bytes, addr: Address) -> None:
        """A datagram is here: it arrives when the link lets it."""
        now = world_us()
        if len(data) > MAX_DATAGRAM_BYTES:
            return
        for at_us in self._link.forward(int(now)):
            self._at(max(float(at_us), now), lambda at: self._answer(data, addr, at))
        self._go_on()

    def error_received(self, exc: Exception) -> None:
        """A peer's port is closed; it will ask again if it wants to."""
        _logger.debug("%s: a reply was not delivered: %s", self.unit.settings.name, exc)

    def _answer(self, data: bytes, addr: Address, at_us: float) -> None:
        reply = self.unit.datagram(data, at_us)
        if reply is None:
            return
        sent = self.unit.encode(reply, at_us)
        for back_us in self._link.back(int(at_us)):
            self._at(max(float(back_us), at_us), lambda _: self._deliver(sent, addr))

    def _deliver(self, data: bytes, addr: Address) -> None:
        if self._transport is not None and not self._transport.is_closing():
            self._transport.sendto(data, addr)

    # ---- streams --------------------------------------------------------------------------

    def _admit(self, socket: ServerConnection, request: Request) -> Response | None:
        if request.path != STREAM_PATH:
            return socket.respond(
                http.HTTPStatus.NOT_FOUND, f"The joint's stream is at {STREAM_PATH}.\n"
            )
        return None

    def connected(self, socket: ServerConnection) -> int:
        """A peer has connected; the number of its stream."""
        stream_id, nonce = next(self._stream_ids), os.urandom(NONCE_BYTES)
        self._streams[stream_id] = _Stream(socket)
        address = str((socket.remote_address or ("",))[0])
        self._comes(lambda at: self.unit.stream_opened(stream_id, at, nonce, address))
        return stream_id

    def disconnected(self, stream_id: int) -> None:
        """A connection is gone. One that was a WebSocket is read to its end first."""
        if not self._streams[stream_id].is_open:
            self._gone(stream_id)

    def _gone(self, stream_id: int) -> None:
        del self._streams[stream_id]
        self._comes(lambda at: self.unit.stream_closed(stream_id, at))

    async def _serve(self, socket: ServerConnection) -> None:
        stream_id = cast(_Connection, socket).stream_id
        stream = self._streams.get(stream_id)
        if stream is None:
            return  # it was gone before its turn came
        stream.is_open = True
        writer = asyncio.create_task(stream.write())
        try:
            async for frame in socket:
                await stream.on_way.acquire()
                self._comes(partial(self._take, stream_id, stream, frame))
        except ConnectionClosed:
            pass
        finally:
            self._gone(stream_id)
            writer.cancel()
            with contextlib.suppress(asyncio.CancelledError, ConnectionClosed):
                await writer

    def _comes(self, act: Callable[[float], StreamOut | None]) -> None:
        """Something comes along a stream and reaches the joint after a while."""
        now = world_us()

        def arrive(at_us: float) -> None:
            out = act(at_us)
            if out is not None:
                self._send(out, at_us)

        self._at(self._along("forward", now), arrive)
        self._go_on()

    def _along(self, direction: Direction, now: float) -> float:
        """When what is put on a stream now arrives: never before what went ahead of it."""
        whole_us = int(now)
        return max(now, float(whole_us + self._link.stream_delay(direction, whole_us)))

    def _take(self, stream_id: int, stream: _Stream, frame: str | bytes, at_us: float) -> StreamOut:
        stream.on_way.release()
        return self.unit.stream_frame(stream_id, frame, at_us)

    def _send(self, out: StreamOut, at_us: float) -> None:
        """Put frames, then closings, on their way."""
        closings: list[tuple[int, str | bytes | CloseCode]] = [
            *((number, CloseCode.NORMAL_CLOSURE) for number in out.close),
            *((number, CloseCode.GOING_AWAY) for number in out.going),
        ]
        for stream_id, frame in [*out.frames, *closings]:
            stream = self._streams.get(stream_id)
            if stream is not None:
                self._at(self._along("back", at_us), partial(stream.put, frame))


def _stream_logger() -> logging.Logger:
    """A logger for the library that is silent on what a stranger sends: it is no error of ours."""
    logger = logging.getLogger(f"{__name__}.websockets")
    logger.setLevel(logging.WARNING)
    logger.addFilter(_is_ours)
    return logger


def _is_ours(record: logging.LogRecord) -> bool:
    return record.msg != "opening handshake failed"
