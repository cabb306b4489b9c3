"""Software joints on real sockets: moved by nobody without the key, hurt by no noise."""

import asyncio
import contextlib
import os
import random
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from typing import Any

import pytest
from websockets.asyncio.client import ClientConnection, connect
from websockets.exceptions import ConnectionClosed
from websockets.typing import Subprotocol

from coordinator.links.peer import DatagramKeys, Handshake
from protocol import ntp
from protocol.constants import MAX_FRAME_BYTES, MAX_OPENING_BYTES, STREAM_PATH, SUBPROTOCOL
from protocol.drive import REQUEST_BYTES, Drive, Mode, encode_drive
from protocol.messages import Reject, decode_opening
from protocol.status import decode_status
from simulator.network import PROFILES
from simulator.port import JointPort
from simulator.server import joints_served
from tests.own import SERVICE_TYPE
from tests.simulator.joints import settings

KEY = bytes(range(32))
SESSION = 77
PATIENCE_S = 20.0
NOISE_BYTES = 1_000_000
CHUNK_BYTES = 50_000
"""Of noise on one connection."""


@asynccontextmanager
async def joint() -> AsyncIterator[JointPort]:
    """A joint, which must not raise anything that the event loop would only log."""
    raised: list[dict[str, Any]] = []
    asyncio.get_running_loop().set_exception_handler(lambda _, context: raised.append(context))
    async with joints_served(
        [settings()],
        KEY,
        interface="127.0.0.1",
        profile=PROFILES["none"],
        seed=1,
        service_type=SERVICE_TYPE,
    ) as ports:
        yield ports[0]
    assert raised == []


class Asker(asyncio.DatagramProtocol):
    """A UDP client that keeps what it gets."""

    def __init__(self) -> None:
        self.got: asyncio.Queue[bytes] = asyncio.Queue()

    def datagram_received(self, data: bytes, addr: tuple[str, int]) -> None:
        self.got.put_nowait(data)


@asynccontextmanager
async def asker(port: int) -> AsyncIterator[tuple[asyncio.DatagramTransport, Asker]]:
    transport, protocol = await asyncio.get_running_loop().create_datagram_endpoint(
        Asker, remote_addr=("127.0.0.1", port)
    )
    try:
        yield transport, protocol
    finally:
        transport.close()


async def answers(transport: asyncio.DatagramTransport, client: Asker, data: bytes) -> list[bytes]:
    """All that comes back for a datagram before the reply to a bare request sent after it."""
    nonce = random.getrandbits(64) | 1
    transport.sendto(data)
    transport.sendto(ntp.encode_request(nonce))
    got: list[bytes] = []
    while True:
        reply = await asyncio.wait_for(client.got.get(), PATIENCE_S)
        if len(reply) == ntp.PACKET_BYTES and ntp.decode_packet(reply).origin == nonce:
            return got
        got.append(reply)


async def open_stream(port: JointPort) -> ClientConnection:
    return await connect(
        f"ws://127.0.0.1:{port.stream_port}{STREAM_PATH}", subprotocols=[Subprotocol(SUBPROTOCOL)]
    )


async def shake_hands(port: JointPort, stream: ClientConnection) -> DatagramKeys:
    hands = Handshake(KEY, port.unit.settings.id, bytes(16), SESSION, os.urandom(32))
    await stream.send(hands.hello())
    hands.welcome(await stream.recv())
    await stream.send(hands.proof())
    assert isinstance(await stream.recv(), bytes)  # the tagged ack
    return hands.datagram_keys()


# ---- noise -------------------------------------------------------------------------------------


async def test_a_megabyte_of_noise_to_the_datagram_port_is_not_answered_and_does_no_harm() -> None:
    noise = random.Random(5)
    async with (
        joint() as port,
        asker(port.udp_port) as (transport, client),
        await open_stream(port) as stream,
    ):
        # With keys in force and lengths that are right, so that it is looked at and not only
        # thrown away for its length.
        keys = await shake_hands(port, stream)
        sent = 0
        while sent < NOISE_BYTES:
            chunk = noise.randbytes(noise.choice((REQUEST_BYTES, noise.randrange(1, 1400))))
            sent += len(chunk)
            assert await answers(transport, client, chunk) == []
        datagram = encode_drive(Drive(SESSION, 1, Mode.NONE), 11, keys.to_joint)
        assert len(await answers(transport, client, datagram)) == 1
        async with await open_stream(port) as another:
            await shake_hands(port, another)


async def _raw(port: JointPort, noise: bytes) -> None:
    """Noise in place of the HTTP request."""
    _, writer = await asyncio.open_connection("127.0.0.1", port.stream_port)
    with contextlib.suppress(ConnectionError):
        writer.write(noise)
        await writer.drain()
    writer.close()
    with contextlib.suppress(ConnectionError):
        await writer.wait_closed()


async def _after_the_upgrade(port: JointPort, noise: bytes) -> None:
    """Noise in place of a WebSocket frame."""
    async with await open_stream(port) as stream:
        stream.transport.write(noise)
        with pytest.raises(ConnectionClosed):
            await asyncio.wait_for(stream.recv(), PATIENCE_S)


async def _long_frame(port: JointPort, noise: bytes) -> None:
    """More noise than a hello may have: the joint closes."""
    async with await open_stream(port) as stream:
        with contextlib.suppress(ConnectionClosed):
            await stream.send(noise)
        await asyncio.wait_for(stream.wait_closed(), PATIENCE_S)


async def _frame(port: JointPort, noise: bytes) -> None:
    """Noise in place of a hello: the joint says why, and closes."""
    async with await open_stream(port) as stream:
        await stream.send(noise[:MAX_OPENING_BYTES])
        assert isinstance(decode_opening(await stream.recv()), Reject)
        with pytest.raises(ConnectionClosed):
            await asyncio.wait_for(stream.recv(), PATIENCE_S)


async def _tagged_frame(port: JointPort, noise: bytes) -> None:
    """Noise in place of a frame with a tag: no answer, and the stream is closed."""
    async with await open_stream(port) as stream:
        await shake_hands(port, stream)
        await stream.send(noise[:MAX_FRAME_BYTES])
        with pytest.raises(ConnectionClosed):
            await asyncio.wait_for(stream.recv(), PATIENCE_S)


@pytest.mark.parametrize("send", [_raw, _after_the_upgrade, _long_frame, _frame, _tagged_frame])
async def test_a_megabyte_of_noise_to_the_stream_port_does_no_harm(
    send: Callable[[JointPort, bytes], Awaitable[None]],
) -> None:
    noise = random.Random(6)
    async with joint() as port, asker(port.udp_port) as (transport, client):
        for _ in range(NOISE_BYTES // CHUNK_BYTES):
            await send(port, noise.randbytes(CHUNK_BYTES))
        assert await answers(transport, client, b"") == []
        async with await open_stream(port) as stream:
            await shake_hands(port, stream)


@pytest.mark.parametrize("frames", [0, 1, 2])
async def test_a_peer_that_leaves_in_mid_handshake_does_no_harm(frames: int) -> None:
    """It leaves after as many frames: none, its hello, or hello and welcome."""
    async with (
        joint() as port,
        asker(port.udp_port) as (transport, client),
        await open_stream(port) as stream,
    ):
        keys = await shake_hands(port, stream)
        for _ in range(20):
            killed = await open_stream(port)
            hands = Handshake(KEY, port.unit.settings.id, bytes(16), SESSION, os.urandom(32))
            if frames > 0:
                await killed.send(hands.hello())
            if frames > 1:
                hands.welcome(await killed.recv())
            killed.transport.abort()
            await killed.wait_closed()
        # Whoever was there before is still served, and somebody new is let in.
        datagram = encode_drive(Drive(SESSION, 1, Mode.NONE), 11, keys.to_joint)
        assert len(await answers(transport, client, datagram)) == 1
        async with await open_stream(port) as another:
            await shake_hands(port, another)


# ---- old and foreign drives ----------------------------------------------------------------------


async def test_replayed_reordered_and_foreign_drives_get_no_reply() -> None:
    async with (
        joint() as port,
        asker(port.udp_port) as (transport, client),
        await open_stream(port) as stream,
    ):
        keys = await shake_hands(port, stream)

        async def drive(sequence: int, session: int = SESSION) -> list[bytes]:
            sent = Drive(session, sequence, Mode.NONE)
            return await answers(transport, client, encode_drive(sent, 9, keys.to_joint))

        first = Drive(SESSION, 5, Mode.NONE)
        datagram = encode_drive(first, 11, keys.to_joint)
        (reply,) = await answers(transport, client, datagram)
        packet, status = decode_status(reply, keys.to_coordinator)
        assert (packet.origin, status.sequence) == (11, 5)

        assert await answers(transport, client, datagram) == []  # replayed
        assert await drive(4) == []  # older
        assert await drive(6, session=SESSION + 1) == []  # of another session
        assert len(await drive(6)) == 1

        spoiled = bytearray(encode_drive(Drive(SESSION, 7, Mode.NONE), 12, keys.to_joint))
        spoiled[60] ^= 1
        assert await answers(transport, client, bytes(spoiled)) == []
        assert len(await drive(7)) == 1
