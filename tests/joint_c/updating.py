"""A coordinator that can do nothing but bring firmware, made of protocol/ alone."""

import json
import secrets
import socket
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from hashlib import sha256
from typing import Any

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from websockets.exceptions import ConnectionClosed, InvalidHandshake, InvalidMessage
from websockets.sync.client import ClientConnection, connect
from websockets.typing import Subprotocol

from protocol.constants import MAX_IMAGE_FRAME_BYTES, PROTOCOL_VERSION, SUBPROTOCOL
from protocol.drive import Drive, encode_drive
from protocol.frames import FrameOpener, FrameSealer
from protocol.image import ImageFrame, ImageHeader, encode_header, encode_image_frame
from protocol.keys import Channel, Direction, Transcript, proof, session_key
from protocol.messages import Hello, Install, Proof, Update, Welcome, decode_opening, encode
from protocol.status import Status, decode_status

HOST = "127.0.0.1"
PATIENCE_S = 60.0
KEY = bytes(range(0x40, 0x60))
"""The arm's."""
SECRET = Ed25519PrivateKey.from_private_bytes(bytes(range(0x60, 0x80)))
UPDATE_KEY = SECRET.public_key().public_bytes_raw()
COORDINATOR = bytes(16)
AHEAD = 16
"""Frames of an image on their way at once."""


class Rejected(Exception):
    """The joint said no; its code."""


class Gone(Exception):
    """The joint is there no more."""


@dataclass(frozen=True, slots=True)
class Signed:
    """An image with what goes before it."""

    header: ImageHeader
    data: bytes
    signature: bytes

    @property
    def update(self) -> bytes:
        """The request that announces it."""
        header = encode_header(self.header).hex()
        return encode(Update(header=header, signature=self.signature.hex()))


def signed(data: bytes, firmware: str, board: str = "posix", size: int | None = None) -> Signed:
    """By the owner's key. `size` where it lies of it."""
    size = len(data) if size is None else size
    header = ImageHeader(board, firmware, size, sha256(data).digest())
    return Signed(header, data, SECRET.sign(encode_header(header)))


class Stream:
    """A proven stream of a session of its own, and the datagrams beside it."""

    def __init__(self, web: ClientConnection) -> None:
        self._web = web
        self._session = secrets.randbits(63)
        self._sequence = 0
        nonce = secrets.token_bytes(32)
        hello = Hello(
            protocol=PROTOCOL_VERSION,
            coordinator=COORDINATOR.hex(),
            session=self._session.to_bytes(8).hex(),
            nonce=nonce.hex(),
        )
        self._put(encode(hello).decode())
        welcome = decode_opening(self._receive())
        assert isinstance(welcome, Welcome), welcome
        self.welcome = welcome
        transcript = Transcript(
            nonce,
            bytes.fromhex(welcome.nonce),
            COORDINATOR,
            bytes.fromhex(welcome.id),
            welcome.boot,
            self._session,
        )
        assert welcome.proof == proof(KEY, Direction.TO_COORDINATOR, transcript).hex()
        keys = {
            (channel, way): session_key(KEY, transcript, channel, way)
            for channel in Channel
            for way in Direction
        }
        self._drive_key = keys[Channel.DATAGRAM, Direction.TO_JOINT]
        self._status_key = keys[Channel.DATAGRAM, Direction.TO_COORDINATOR]
        self._sealer = FrameSealer(keys[Channel.STREAM, Direction.TO_JOINT], Direction.TO_JOINT)
        self._opener = FrameOpener(
            keys[Channel.STREAM, Direction.TO_COORDINATOR], Direction.TO_COORDINATOR
        )
        self._put(encode(Proof(proof=proof(KEY, Direction.TO_JOINT, transcript).hex())).decode())
        assert self.report()["ref"] == 0

    def _receive(self) -> str | bytes:
        try:
            return self._web.recv(PATIENCE_S)
        except (ConnectionClosed, OSError) as error:
            raise Gone from error

    def _put(self, message: str | bytes) -> None:
        try:
            self._web.send(message)
        except (ConnectionClosed, OSError) as error:
            raise Gone from error

    def report(self) -> dict[str, Any]:
        """What the joint says next."""
        frame = self._receive()
        assert isinstance(frame, bytes), frame
        found: dict[str, Any] = json.loads(self._opener.open(frame)[1])
        return found

    def send(self, body: bytes) -> int:
        """A frame's number."""
        number, frame = self._sealer.seal(body)
        self._put(frame)
        return number

    def answered(self, number: int) -> None:
        """Raises Rejected unless the joint says that it carried out this frame."""
        found = self.report()
        assert found.get("ref") == number, found
        if found["type"] == "reject":
            raise Rejected(found["code"])

    def do(self, body: bytes) -> None:
        self.answered(self.send(body))

    def announce(self, image: Signed) -> int:
        """How many of its bytes the joint keeps."""
        self.do(image.update)
        found = self.report()
        assert (found["type"], found["event"]) == ("event", "update"), found
        assert found["image"] == image.header.sha256.hex()
        received: int = found["received"]
        return received

    def bring(self, image: Signed, begin: int, end: int | None = None) -> Iterator[int]:
        """Send the bytes from `begin` on, and give how many were acknowledged so far."""
        end = len(image.data) if end is None else end
        under_way: list[tuple[int, int]] = []
        at = begin
        while at < end or under_way:
            while at < end and len(under_way) < AHEAD:
                part = image.data[at : min(at + MAX_IMAGE_FRAME_BYTES, end)]
                number = self.send(encode_image_frame(ImageFrame(at, part)))
                at += len(part)
                under_way.append((number, at))
            number, reached = under_way.pop(0)
            self.answered(number)
            yield reached

    def bring_all(self, image: Signed, begin: int) -> None:
        for _ in self.bring(image, begin):
            pass

    def install(self) -> None:
        """Raises Rejected; the joint restarts then."""
        self.do(encode(Install()))

    def closing_code(self) -> int | None:
        """With which the joint ends the stream."""
        try:
            frame = self._web.recv(PATIENCE_S)
        except ConnectionClosed as closed:
            return None if closed.rcvd is None else closed.rcvd.code
        raise AssertionError(frame)

    def drive(self, energise: bool = False) -> Status:
        """Drives until one is answered. Raises Gone where nobody is there."""
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as datagrams:
            datagrams.connect((HOST, self.welcome.udp))
            datagrams.settimeout(0.5)
            for _ in range(int(PATIENCE_S)):
                self._sequence += 1
                drive = Drive(self._session, self._sequence, energise=energise)
                try:
                    datagrams.send(encode_drive(drive, secrets.randbits(64), self._drive_key))
                    return decode_status(datagrams.recv(512), self._status_key)[1]
                except TimeoutError:
                    continue
                except OSError as error:
                    raise Gone from error
        raise Gone


@contextmanager
def stream(port: int, alive: Callable[[], bool] = lambda: True) -> Iterator[Stream]:
    """A stream to the joint whose port that is, once it listens. Raises Gone where it never does,
    and where its board is not alive any more.
    """
    end = time.monotonic() + PATIENCE_S
    with ExitStack() as stack:
        web = None
        while web is None:
            try:
                web = connect(
                    f"ws://{HOST}:{port}/joint",
                    subprotocols=[Subprotocol(SUBPROTOCOL)],
                    compression=None,
                    proxy=None,
                    user_agent_header=None,
                    ping_interval=None,
                    close_timeout=0.1,
                    open_timeout=PATIENCE_S,
                )
            except (OSError, ConnectionClosed, InvalidHandshake, InvalidMessage) as error:
                if not alive() or time.monotonic() > end:
                    raise Gone from error
                time.sleep(0.02)
        stack.enter_context(web)
        yield Stream(web)
