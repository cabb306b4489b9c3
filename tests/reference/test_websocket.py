"""A joint's stream by RFC 6455 and protocol/README.md, asked by a client that knows no shortcuts.

Independent here: the client is written from the RFC with a plain TCP socket; the joint's own side
is the library `websockets`. Sections of the RFC stand beside the checks, from memory.
"""

import asyncio
import base64
import contextlib
import hashlib
import hmac
import json
import secrets
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any

import pytest

from simulator.network import PROFILES
from simulator.port import JointPort
from simulator.server import joints_served
from tests.own import SERVICE_TYPE
from tests.simulator.joints import settings

HOST = "127.0.0.1"
PATIENCE_S = 20.0
KEY = bytes(32)
GUID = "258EAFA5-E914-47DA-95CA-C5AB0DC85B11"
"""Of the answer to `Sec-WebSocket-Key` (§1.3)."""
CONTINUATION, TEXT, BINARY, CLOSE, PING, PONG = 0, 1, 2, 8, 9, 10
"""Opcodes (§11.8)."""
HELLO = {
    "type": "hello", "protocol": 1, "coordinator": "0f" * 16, "session": "0f" * 8,
    "nonce": "0f" * 32,
}  # fmt: skip
LARGEST, LARGEST_UNPROVEN = 4_096, 512


@pytest.fixture(name="port")
async def served_joint() -> AsyncIterator[JointPort]:
    async with joints_served(
        [settings()],
        KEY,
        interface=HOST,
        profile=PROFILES["none"],
        seed=1,
        service_type=SERVICE_TYPE,
    ) as ports:
        yield ports[0]


class Stream:
    """One TCP connection to a joint's stream port."""

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.status = 0
        self.headers: dict[str, str] = {}
        self._reader, self._writer = reader, writer

    async def ask(self, path: str, subprotocol: str | None, extensions: str | None) -> None:
        """The opening handshake (§4.1); the answer is checked and kept (§4.2.2)."""
        key = base64.b64encode(secrets.token_bytes(16)).decode()
        lines = [
            f"GET {path} HTTP/1.1", f"Host: {HOST}", "Upgrade: websocket", "Connection: Upgrade",
            f"Sec-WebSocket-Key: {key}", "Sec-WebSocket-Version: 13",
            "Origin: http://nobody.example",
        ]  # fmt: skip
        if subprotocol is not None:
            lines.append(f"Sec-WebSocket-Protocol: {subprotocol}")
        if extensions is not None:
            lines.append(f"Sec-WebSocket-Extensions: {extensions}")
        self._writer.write("\r\n".join([*lines, "", ""]).encode())
        head = (await self._reader.readuntil(b"\r\n\r\n")).decode().split("\r\n")
        self.status = int(head[0].split()[1])
        pairs = (line.split(": ", 1) for line in head[1:] if line)
        self.headers = {name.lower(): value for name, value in pairs}
        if self.status == 101:
            digest = hashlib.sha1((key + GUID).encode(), usedforsecurity=False).digest()
            assert self.headers["sec-websocket-accept"] == base64.b64encode(digest).decode()

    def send(self, opcode: int, payload: bytes, *, final: bool = True) -> None:
        """One frame, masked as a client's must be (§5.2, §5.3)."""
        mask = secrets.token_bytes(4)
        size = len(payload)
        if size < 126:
            length = bytes((0x80 | size,))
        elif size < 65_536:
            length = bytes((0x80 | 126,)) + size.to_bytes(2)
        else:
            length = bytes((0x80 | 127,)) + size.to_bytes(8)
        masked = bytes(byte ^ mask[k % 4] for k, byte in enumerate(payload))
        self._writer.write(bytes((0x80 * final | opcode,)) + length + mask + masked)

    async def receive(self) -> tuple[int, bytes]:
        """Opcode and payload of one frame, which must be whole, unmasked and without extension."""
        async with asyncio.timeout(PATIENCE_S):
            first, size = await self._reader.readexactly(2)
            assert first & 0xF0 == 0x80
            if size in (126, 127):
                size = int.from_bytes(await self._reader.readexactly(2 if size == 126 else 8))
            return first & 0x0F, await self._reader.readexactly(size)

    async def hello(self) -> dict[str, Any]:
        """Say hello; the welcome."""
        self.send(TEXT, json.dumps(HELLO).encode())
        opcode, welcome = await self.receive()
        assert opcode == TEXT
        found: dict[str, Any] = json.loads(welcome)
        assert found["type"] == "welcome"
        return found

    async def prove(self, welcome: dict[str, Any] | None = None) -> None:
        """The whole handshake, or the rest of it after a welcome."""
        welcome = welcome or await self.hello()
        self.send(TEXT, json.dumps({"type": "proof", "proof": proof(welcome)}).encode())
        assert (await self.receive())[0] == BINARY  # the tagged ack

    async def closed_with(self) -> int:
        """The code of the close frame (§7.1.5), which is answered."""
        opcode, payload = await self.receive()
        assert opcode == CLOSE
        self.send(CLOSE, payload[:2])
        return int.from_bytes(payload[:2])

    async def rejected_with(self) -> str:
        """The code of the reject that comes before the close."""
        opcode, payload = await self.receive()
        message = json.loads(payload)
        assert (opcode, message["type"], message["ref"]) == (TEXT, "reject", 0)
        return str(message["code"])


def proof(welcome: dict[str, Any]) -> str:
    """protocol/README.md, proofs and keys: the coordinator's."""
    parts = (HELLO["nonce"], welcome["nonce"], HELLO["coordinator"], welcome["id"])
    transcript = b"".join(bytes.fromhex(str(part)) for part in parts)
    transcript += int(welcome["boot"]).to_bytes(4) + bytes.fromhex(str(HELLO["session"]))
    message = b"unisono.joint.v1 proof\0" + transcript
    return hmac.new(KEY, message, hashlib.sha256).hexdigest()


@asynccontextmanager
async def stream(
    port: JointPort,
    path: str = "/joint",
    subprotocol: str | None = "unisono.joint.v1",
    extensions: str | None = None,
) -> AsyncIterator[Stream]:
    reader, writer = await asyncio.open_connection(HOST, port.stream_port)
    try:
        made = Stream(reader, writer)
        await made.ask(path, subprotocol, extensions)
        yield made
    finally:
        writer.close()
        with contextlib.suppress(ConnectionError):
            await writer.wait_closed()


@pytest.mark.parametrize(
    ("path", "subprotocol", "status"),
    [
        ("/joint", None, 400),
        ("/joint", "unisono.joint.v2", 400),
        ("/other", "unisono.joint.v1", 404),
        ("/joint", "unisono.joint.v2, unisono.joint.v1", 101),
    ],
)
async def test_stream_opens_at_its_path_with_its_subprotocol_only(
    port: JointPort, path: str, subprotocol: str | None, status: int
) -> None:
    async with stream(port, path, subprotocol) as one:
        assert one.status == status
        chosen = one.headers.get("sec-websocket-protocol")
        assert chosen == ("unisono.joint.v1" if status == 101 else None)


async def test_compression_that_is_offered_is_left_unanswered(port: JointPort) -> None:
    async with stream(port, extensions="permessage-deflate") as one:
        assert one.status == 101
        assert "sec-websocket-extensions" not in one.headers


async def test_message_comes_in_any_fragments_with_pings_between(port: JointPort) -> None:
    hello = json.dumps(HELLO).encode()
    async with stream(port) as one:
        one.send(TEXT, hello[:10], final=False)
        one.send(PING, b"between")
        one.send(CONTINUATION, hello[10:11], final=False)
        one.send(CONTINUATION, hello[11:])
        assert await one.receive() == (PONG, b"between")
        opcode, welcome = await one.receive()
        assert (opcode, json.loads(welcome)["type"]) == (TEXT, "welcome")


async def test_proven_stream_whose_pings_are_not_answered_is_dropped(port: JointPort) -> None:
    async with stream(port) as one:
        await one.prove()
        assert (await one.receive())[0] == PING
        assert await one.closed_with() == 1011


@pytest.mark.parametrize(("size", "code"), [(LARGEST_UNPROVEN, 1000), (LARGEST_UNPROVEN + 1, 1009)])
async def test_largest_message_is_read_before_the_proof_and_a_larger_one_ends_the_stream(
    port: JointPort, size: int, code: int
) -> None:
    async with stream(port) as one:
        one.send(TEXT, b" " * size)
        if code == 1000:
            assert await one.rejected_with() == "message-invalid"
        assert await one.closed_with() == code


@pytest.mark.parametrize(("size", "code"), [(LARGEST, 1000), (LARGEST + 1, 1009)])
async def test_largest_message_is_read_after_the_proof_and_a_larger_one_ends_the_stream(
    port: JointPort, size: int, code: int
) -> None:
    async with stream(port) as one:
        await one.prove()
        one.send(BINARY, b" " * size)  # without its tag it is a false frame, but it is read
        assert await one.closed_with() == code


async def test_text_that_is_not_utf_8_ends_the_stream(port: JointPort) -> None:
    # §8.1
    async with stream(port) as one:
        one.send(TEXT, b"\xff")
        assert await one.closed_with() == 1007


async def test_what_the_handshake_does_not_expect_is_rejected_and_closed(port: JointPort) -> None:
    async with stream(port) as one:
        one.send(TEXT, json.dumps({"type": "proof", "proof": "00" * 32}).encode())
        assert await one.rejected_with() == "handshake-order"
        assert await one.closed_with() == 1000
    async with stream(port) as one:
        one.send(TEXT, json.dumps(HELLO).encode())
        await one.receive()
        one.send(TEXT, json.dumps({"type": "proof", "proof": "00" * 32}).encode())
        assert await one.rejected_with() == "proof-wrong"
        assert await one.closed_with() == 1000


async def test_binary_message_before_the_proof_is_rejected_and_closed(port: JointPort) -> None:
    async with stream(port) as one:
        one.send(BINARY, json.dumps(HELLO).encode())
        assert await one.rejected_with() == "handshake-order"
        assert await one.closed_with() == 1000


async def ended(reader: asyncio.StreamReader) -> None:
    """Wait until the joint has cut a connection."""
    async with asyncio.timeout(PATIENCE_S):
        with contextlib.suppress(ConnectionError):
            assert await reader.read() == b""


async def test_bare_connections_that_are_held_open_keep_nobody_out(port: JointPort) -> None:
    async with contextlib.AsyncExitStack() as stack:

        async def hold() -> asyncio.StreamReader:
            reader, writer = await asyncio.open_connection(HOST, port.stream_port)
            stack.callback(writer.close)
            return reader

        held = [await hold() for _ in range(6)]
        one = await stack.enter_async_context(stream(port))
        await one.prove()
        # Two places are for those that prove nothing; each newcomer took the oldest one's.
        for reader in held[:-1]:
            await ended(reader)
        for _ in range(6):
            await hold()
        one.send(PING, b"still there")
        assert await one.receive() == (PONG, b"still there")


async def test_stranger_at_another_address_pushes_out_himself_only(port: JointPort) -> None:
    async with contextlib.AsyncExitStack() as stack:

        async def again() -> None:
            for _ in range(4):
                _, writer = await asyncio.open_connection(
                    HOST, port.stream_port, local_addr=("127.0.0.2", 0)
                )
                stack.callback(writer.close)

        await again()
        one = await stack.enter_async_context(stream(port))
        await again()
        welcome = await one.hello()
        await again()
        await one.prove(welcome)
