"""A stream to the joint under test: what may be put on it is anything, not only what is right."""

import asyncio
import contextlib
import json
import os
from dataclasses import dataclass, field
from typing import Any, Final

from websockets.asyncio.client import ClientConnection, connect
from websockets.exceptions import ConnectionClosed, InvalidHandshake, InvalidMessage
from websockets.typing import Origin, Subprotocol

from coordinator.codes.os_words import os_words
from coordinator.conform.check import Lost, Wrong
from protocol.constants import MAX_FRAME_BYTES, PROTOCOL_VERSION, SUBPROTOCOL
from protocol.errors import FrameError, WireError
from protocol.frames import FrameOpener, FrameSealer
from protocol.keys import NONCE_BYTES, Channel, Direction, Transcript, proof, same, session_key
from protocol.messages import Welcome, decode_opening

PATIENCE_S: Final = 4.0
"""For what must come."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where a joint's stream is, and what is known of it."""

    host: str
    port: int
    path: str
    joint_id: str
    arm_key: bytes
    opened: list[ClientConnection] = field(default_factory=list, compare=False, repr=False)
    """Since `close_all`: whoever opens one is not to close it in every way in which it may end."""

    async def close_all(self) -> None:
        """Close what is still open."""
        while self.opened:
            await self.opened.pop().close()


def connection(
    place: Place,
    *,
    path: str | None = None,
    subprotocols: tuple[str, ...] = (SUBPROTOCOL,),
    compression: str | None = None,
    origin: str | None = None,
    headers: dict[str, str] | None = None,
) -> connect:
    """A connection to be awaited or entered. Raises OSError, InvalidHandshake there."""
    return connect(
        f"ws://{place.host}:{place.port}{place.path if path is None else path}",
        subprotocols=[Subprotocol(one) for one in subprotocols] or None,
        compression=compression,
        origin=None if origin is None else Origin(origin),
        additional_headers=headers,
        proxy=None,
        user_agent_header=None,
        open_timeout=PATIENCE_S,
        ping_interval=None,
        close_timeout=0.5,
        max_size=MAX_FRAME_BYTES,
    )


async def opened(place: Place, **how: Any) -> ClientConnection:
    """A WebSocket to the joint. Raises Lost."""
    try:
        socket = await connection(place, **how)
    except InvalidMessage as error:
        sentence = f"what answers at {place.host}:{place.port} does not speak HTTP/1.1"
        raise Lost(sentence) from error
    except InvalidHandshake as error:
        raise Lost(
            f"no joint's stream at {place.host}:{place.port}{place.path}: {error}"
        ) from error
    except TimeoutError as error:
        raise Lost(f"no answer at {place.host}:{place.port} within {PATIENCE_S:g} s") from error
    except OSError as error:
        raise Lost(f"no connection to {place.host}:{place.port}: {os_words(error)}") from error
    place.opened.append(socket)
    return socket


async def received(socket: ClientConnection) -> str | bytes | None:
    """The next message; None where the stream has ended. Raises Wrong where nothing comes."""
    try:
        async with asyncio.timeout(PATIENCE_S):
            return await socket.recv()
    except TimeoutError:
        raise Wrong("an answer", f"nothing within {PATIENCE_S:g} s") from None
    except ConnectionClosed:
        return None


async def require_closed(socket: ClientConnection, code: int | None = None) -> None:
    """Raises Wrong unless the joint ends a stream now, with that code if one is given."""
    came = await received(socket)
    if came is not None:
        raise Wrong("the end of the stream", f"a message, {shown(came)}")
    if code is not None and socket.close_code != code:
        raise Wrong(f"the stream closed with {code}", f"closed with {socket.close_code}")


async def require_reject(socket: ClientConnection, code: str) -> None:
    """Raises Wrong unless the joint rejects now in the handshake, and closes."""
    came = await received(socket)
    if came is None:
        raise Wrong(f"a reject with {code}", "the stream's end without one")
    try:
        found = json.loads(came)
    except ValueError:
        found = None
    if not isinstance(came, str) or not isinstance(found, dict) or found.get("type") != "reject":
        raise Wrong(f"a text frame with a reject, {code}", shown(came))
    if (found.get("code"), found.get("ref")) != (code, 0):
        raise Wrong(f"a reject with {code} and ref 0", shown(came))
    await require_closed(socket, 1000)


def shown(data: str | bytes) -> str:
    """A message for people, cut where it is long."""
    text = data if isinstance(data, str) else data.hex()
    return text if len(text) <= 120 else f"{text[:117]}..."


def hello(session: int, coordinator: bytes, nonce: bytes, /, **other: object) -> str:
    """A hello's text; `other` replaces its fields or adds some."""
    fields = {
        "type": "hello",
        "protocol": PROTOCOL_VERSION,
        "coordinator": coordinator.hex(),
        "session": f"{session:016x}",
        "nonce": nonce.hex(),
    }
    return json.dumps({**fields, **other}, separators=(",", ":"))


@dataclass(slots=True)
class Greeting:
    """A stream after hello and welcome, before the proof."""

    socket: ClientConnection
    hello: str
    text: str
    """The welcome's."""
    welcome: Welcome
    transcript: Transcript
    arm_key: bytes

    def proof(self, *, direction: Direction = Direction.TO_JOINT, key: bytes | None = None) -> str:
        """A proof's text: the right one, or one by another key or of the other side."""
        found = proof(key or self.arm_key, direction, self.transcript)
        return json.dumps({"type": "proof", "proof": found.hex()}, separators=(",", ":"))

    @property
    def is_proved(self) -> bool:
        """Whether the joint has shown that it holds the key."""
        expected = proof(self.arm_key, Direction.TO_COORDINATOR, self.transcript)
        return same(bytes.fromhex(self.welcome.proof), expected)

    def key(self, channel: Channel, direction: Direction) -> bytes:
        """A key of this handshake."""
        return session_key(self.arm_key, self.transcript, channel, direction)


async def greet(
    place: Place, session: int, coordinator: bytes, *, text: str | None = None
) -> Greeting:
    """Say hello on a new stream. `text`: an earlier hello, again. Raises Wrong, Lost."""
    socket = await opened(place)
    said = text or hello(session, coordinator, os.urandom(NONCE_BYTES))
    await send(socket, said)
    came = await received(socket)
    if not isinstance(came, str):
        raise Wrong("a welcome", "no text" if came is None else shown(came))
    try:
        welcome = decode_opening(came)
    except FrameError as error:
        raise Wrong("a welcome as the page has it", f"{shown(came)} ({error.message})") from error
    if not isinstance(welcome, Welcome):
        raise Wrong("a welcome", shown(came))
    transcript = Transcript(
        bytes.fromhex(json.loads(said)["nonce"]),
        bytes.fromhex(welcome.nonce),
        coordinator,
        bytes.fromhex(welcome.id),
        welcome.boot,
        session,
    )
    return Greeting(socket, said, came, welcome, transcript, place.arm_key)


async def send(socket: ClientConnection, data: str | bytes) -> None:
    """Send a message; one that the joint does not take any more is lost, as on any stream."""
    with contextlib.suppress(ConnectionClosed):
        await socket.send(data)


class Stream:
    """A proven stream. Sorts what comes: answers to whom they are for, events in order."""

    def __init__(self, greeting: Greeting) -> None:
        self.greeting = greeting
        self.socket = greeting.socket
        self.events: list[dict[str, Any]] = []
        self.numbers: list[int] = []
        """Of the joint's frames, as they came."""
        self.kept: list[str] = []
        """Types of what came, in order, the ack of the proof first."""
        self.false: str | None = None
        """What is wrong with a frame that came."""
        self.sealer = FrameSealer(
            greeting.key(Channel.STREAM, Direction.TO_JOINT), Direction.TO_JOINT
        )
        self._opener = FrameOpener(
            greeting.key(Channel.STREAM, Direction.TO_COORDINATOR), Direction.TO_COORDINATOR
        )
        self._answers: asyncio.Queue[dict[str, Any]] = asyncio.Queue()
        self._came = asyncio.Event()
        self._task: asyncio.Task[None] | None = None

    @property
    def is_open(self) -> bool:
        """Whether it can still be used."""
        return self._task is not None and not self._task.done()

    async def begin(self) -> str | None:
        """Wait for the ack of the proof; the code of a reject in place of it. Raises Wrong."""
        came = await received(self.socket)
        if isinstance(came, str):
            found = json.loads(came)
            if found.get("type") == "reject":
                return str(found.get("code"))
        if not isinstance(came, bytes):
            raise Wrong("an ack of the proof", "the stream's end" if came is None else shown(came))
        answer = self._read(came)
        if answer is None or (answer.get("type"), answer.get("ref")) != ("ack", 0):
            raise Wrong("frame 1: an ack with ref 0", self.false or shown(came))
        self._task = asyncio.get_running_loop().create_task(self._sort())
        return None

    async def ask(self, body: bytes) -> str:
        """Send a body; "ack", or the code of the reject. Raises Wrong."""
        number, frame = self.sealer.seal(body)
        await send(self.socket, frame)
        return await self.answer(number)

    async def answer(self, number: int) -> str:
        """What a frame with a number was answered by."""
        while True:
            try:
                async with asyncio.timeout(PATIENCE_S):
                    found = await self._answers.get()
            except TimeoutError:
                came = self.false or "nothing" if self.is_open else "the stream's end"
                raise Wrong(f"an ack or reject of frame {number}", came) from None
            if found.get("ref") == number:
                return "ack" if found["type"] == "ack" else str(found.get("code"))

    async def event(self, kind: str, within_s: float = PATIENCE_S) -> dict[str, Any]:
        """The first event of a kind, once it is there; it is taken out. Raises Wrong."""
        try:
            async with asyncio.timeout(within_s):
                while True:
                    for k, event in enumerate(self.events):
                        if event.get("event") == kind:
                            return self.events.pop(k)
                    self._came.clear()
                    await self._came.wait()
        except TimeoutError:
            others = ", ".join(str(one.get("event")) for one in self.events) or "no event"
            raise Wrong(f"event {kind}", others) from None

    async def require_end(self) -> None:
        """Raises Wrong unless the joint ends the stream now, without an answer."""
        assert self._task is not None
        before = len(self.kept)
        await asyncio.wait([self._task], timeout=PATIENCE_S)
        if self.is_open:
            answer = ", ".join(self.kept[before:]) or "nothing"
            raise Wrong("the end of the stream", f"{answer}, and the stream goes on")
        if "ack" in self.kept[before:] or "reject" in self.kept[before:]:
            raise Wrong("the end of the stream without an answer", ", ".join(self.kept[before:]))

    async def close(self) -> None:
        """End it."""
        if self._task is not None:
            self._task.cancel()
        await self.socket.close()

    async def _sort(self) -> None:
        with contextlib.suppress(ConnectionClosed):
            async for came in self.socket:
                found = self._read(came) if isinstance(came, bytes) else None
                if isinstance(came, str):
                    self.false = f"a text frame after the handshake: {shown(came)}"
                elif found is not None and found.get("type") in ("ack", "reject"):
                    self._answers.put_nowait(found)
                elif found is not None and found.get("type") == "event":
                    self.events.append(found)
                self._came.set()

    def _read(self, frame: bytes) -> dict[str, Any] | None:
        try:
            number, body = self._opener.open(frame)
            found = json.loads(body)
        except (WireError, ValueError) as error:
            self.false = f"a false frame ({error})"
            return None
        self.numbers.append(number)
        if not isinstance(found, dict):
            self.false = f"a frame that is no object: {shown(body)}"
            return None
        self.kept.append(str(found.get("event") or found.get("type")))
        return found


async def proved(greeting: Greeting) -> Stream | str:
    """Prove on a stream; the code of a reject where there is one. Raises Wrong."""
    stream = Stream(greeting)
    await send(greeting.socket, greeting.proof())
    code = await stream.begin()
    return stream if code is None else code
