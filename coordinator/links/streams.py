"""The stream to one joint: one task that connects, shakes hands, reads and writes.

A slow or silent joint holds up nobody else: every joint has its own task and queue, and a joint
that does not take its frames loses its stream.
"""

import asyncio
import contextlib
from collections.abc import Callable
from typing import Final

from websockets.asyncio.client import ClientConnection
from websockets.exceptions import ConnectionClosed, InvalidHandshake, InvalidURI

from coordinator.core.events import Connect, Content, Event, LinkDown, LinkUp, Reported
from coordinator.links.failures import why_closed, why_no_stream
from coordinator.links.opening import Opening, connection
from coordinator.links.peer import SessionKeys, frame_body, reject_of_proof
from protocol.constants import HANDSHAKE_TIMEOUT_US, US
from protocol.errors import FrameError, HandshakeError, WireError
from protocol.frames import FrameOpener, FrameSealer
from protocol.messages import Ack, Reject, Welcome, decode_opening, decode_report

QUEUE_FRAMES: Final = 64
"""The core has a handful of frames under way to a joint; more means that it takes none."""
_HANDSHAKE_S: Final = HANDSHAKE_TIMEOUT_US / US


class JointStream:
    """A stream on its way up, open, or closed for good. Needs a running loop.

    Delivers `LinkUp`, then `Reported`, and `LinkDown` once at the end unless `close` was called.
    """

    def __init__(
        self,
        target: Connect,
        opening: Opening,
        keys: SessionKeys,
        deliver: Callable[[Event], None],
    ) -> None:
        self._target = target
        self._opening = opening
        self._keys = keys
        self._deliver = deliver
        self._sealer: FrameSealer | None = None
        self._given_up = "it was ended from here"
        """Why the task was cancelled. Python 3.11.2 loses what is said with the cancelling."""
        self._outgoing: asyncio.Queue[bytes] = asyncio.Queue(QUEUE_FRAMES)
        self._task = asyncio.get_running_loop().create_task(
            self._run(), name=f"stream {target.joint_id}"
        )

    def send(self, content: Content) -> int | None:
        """Seal and queue a frame; its number, or None while there is no stream to send it on."""
        if self._sealer is None or self._task.done():
            return None
        if self._outgoing.full():
            self._sealer = None
            self._given_up = "it takes no more frames"
            self._task.cancel()
            return None
        number, frame = self._sealer.seal(frame_body(content))
        self._outgoing.put_nowait(frame)
        return number

    def close(self) -> None:
        """End the stream without a word to the core."""
        self._deliver = _ignore
        self._sealer = None
        self._task.cancel()

    async def closed(self) -> None:
        """Wait until the task is over."""
        await asyncio.wait([self._task])

    async def _run(self) -> None:
        code, message = "stream-closed", "the stream was closed"
        try:
            async with asyncio.timeout(_HANDSHAKE_S) as limit:
                async with connection(self._target.address) as socket:
                    welcome, opener = await self._shake_hands(socket)
                    limit.reschedule(None)
                    self._deliver(LinkUp(self._target.joint_id, welcome))
                    await self._exchange(socket, opener)
        except asyncio.CancelledError:
            message = f"the stream was given up: {self._given_up}"
        except HandshakeError as error:
            code, message = error.code, error.message
        except WireError as error:
            code = "stream-closed" if self._sealer else "handshake-order"
            message = f"it sent a bad frame: {error.message}"
        except TimeoutError:
            code, message = "handshake-timeout", f"no handshake within {_HANDSHAKE_S:g} s"
        except ConnectionClosed as error:
            message = why_closed(error)
        except (OSError, InvalidHandshake, InvalidURI) as error:
            code, message = "unreachable", why_no_stream(error, self._target.address)
        self._sealer = None
        self._deliver(LinkDown(self._target.joint_id, code, message))

    async def _shake_hands(self, socket: ClientConnection) -> tuple[Welcome, FrameOpener]:
        handshake, welcome = await self._opening.greet(socket, self._target.joint_id)
        # Before the proof is out: the joint may use these keys although its answer gets lost.
        self._keys.proposed(welcome, handshake.datagram_keys())
        await socket.send(handshake.proof())
        sealer, opener = handshake.frame_keys()
        answer = await socket.recv()
        if isinstance(answer, str):
            message = decode_opening(answer)
            if isinstance(message, Reject):
                raise reject_of_proof(message)
            raise HandshakeError("handshake-order", f"it answers a proof with {message.type!r}")
        _, body = opener.open(answer)
        report = decode_report(body)
        if not isinstance(report, Ack) or report.ref != 0:
            raise HandshakeError("handshake-order", "it did not acknowledge the proof")
        self._keys.settle(welcome)
        self._sealer = sealer
        return welcome, opener

    async def _exchange(self, socket: ClientConnection, opener: FrameOpener) -> None:
        writer = asyncio.create_task(self._write(socket))
        try:
            async for frame in socket:
                if isinstance(frame, str):
                    raise FrameError("frame-type", "a text frame after the handshake")
                _, body = opener.open(frame)
                report = decode_report(body)
                if report is not None:
                    self._deliver(Reported(self._target.joint_id, report))
        finally:
            writer.cancel()
            with contextlib.suppress(asyncio.CancelledError, ConnectionClosed):
                await writer

    async def _write(self, socket: ClientConnection) -> None:
        while True:
            await socket.send(await self._outgoing.get())


def _ignore(_event: Event) -> None:
    """Whoever closed the stream does not want to hear of it."""
