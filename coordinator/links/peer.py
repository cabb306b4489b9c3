"""One joint's bytes: handshake, session keys, sealed frames, datagrams and what they answer.

Nothing here waits or reads a clock. A joint's datagram keys outlive its streams: they belong to
the session, and `welcome.keyed` says which handshake's keys hold (protocol.messages.Welcome).
"""

import math
from collections import OrderedDict
from dataclasses import dataclass
from typing import Final

from coordinator.core.events import Replied
from coordinator.timing.exchange import Exchange
from protocol import ntp
from protocol.constants import PROTOCOL_VERSION
from protocol.drive import Drive, encode_drive
from protocol.errors import HandshakeError, WireError
from protocol.frames import FrameOpener, FrameSealer
from protocol.image import ImageFrame, encode_image_frame
from protocol.keys import Channel, Direction, Transcript, proof, same, session_key
from protocol.messages import (
    Hello,
    Proof,
    Reject,
    Request,
    Welcome,
    decode_opening,
    encode,
)
from protocol.points import PointsFrame, encode_points
from protocol.status import decode_status

HANDSHAKES_KEPT: Final = 8
"""Whose proof was sent and whose answer was lost, so that their datagram keys may be in force. A
joint closes the oldest stream that has proved nothing, so it can take the proofs of few only."""
REQUESTS_KEPT: Final = 256
"""Per joint: ten seconds at 25 Hz, far beyond any round trip."""


@dataclass(frozen=True, slots=True)
class DatagramKeys:
    """The keys of both directions of the datagram channel."""

    to_joint: bytes
    to_coordinator: bytes


class Handshake:
    """The coordinator's side of one handshake: hello, welcome, proof. `nonce` is random."""

    def __init__(
        self, arm_key: bytes, joint_id: str, coordinator_id: bytes, session: int, nonce: bytes
    ) -> None:
        self._arm_key = arm_key
        self._joint_id = joint_id
        self._coordinator_id = coordinator_id
        self._session = session
        self._nonce = nonce
        self._transcript: Transcript | None = None

    def hello(self) -> str:
        """The first frame."""
        message = Hello(
            protocol=PROTOCOL_VERSION,
            coordinator=self._coordinator_id.hex(),
            session=f"{self._session:016x}",
            nonce=self._nonce.hex(),
        )
        return encode(message).decode()

    def welcome(self, frame: str | bytes) -> Welcome:
        """Check the second frame.

        Raises HandshakeError with the joint's own code for a reject, `id-wrong` for another
        joint, `key-wrong` for a wrong proof; FrameError for anything that is no welcome.
        """
        message = decode_opening(frame)
        if isinstance(message, Reject):
            raise HandshakeError(message.code, f"it refuses: {message.message}")
        if not isinstance(message, Welcome):
            raise HandshakeError("handshake-order", f"it sent {message.type!r} for a welcome")
        if message.id != self._joint_id:
            raise HandshakeError(
                "id-wrong", f"it announces id {self._joint_id} but answers as {message.id}"
            )
        transcript = Transcript(
            self._nonce,
            bytes.fromhex(message.nonce),
            self._coordinator_id,
            bytes.fromhex(message.id),
            message.boot,
            self._session,
        )
        expected = proof(self._arm_key, Direction.TO_COORDINATOR, transcript)
        if not same(bytes.fromhex(message.proof), expected):
            raise HandshakeError("key-wrong", "it does not hold this arm's key")
        self._transcript = transcript
        return message

    def proof(self) -> str:
        """The third frame, once the welcome was good."""
        found = proof(self._arm_key, Direction.TO_JOINT, self._agreed())
        return encode(Proof(proof=found.hex())).decode()

    def frame_keys(self) -> tuple[FrameSealer, FrameOpener]:
        """What seals frames to the joint and opens those from it."""
        outward, inward = (self._key(Channel.STREAM, direction) for direction in Direction)
        return (
            FrameSealer(outward, Direction.TO_JOINT),
            FrameOpener(inward, Direction.TO_COORDINATOR),
        )

    def datagram_keys(self) -> DatagramKeys:
        """The datagram keys that this handshake makes, unless earlier ones are in force."""
        return DatagramKeys(*(self._key(Channel.DATAGRAM, direction) for direction in Direction))

    def _key(self, channel: Channel, direction: Direction) -> bytes:
        return session_key(self._arm_key, self._agreed(), channel, direction)

    def _agreed(self) -> Transcript:
        if self._transcript is None:
            raise HandshakeError("handshake-order", "there was no good welcome yet")
        return self._transcript


def reject_of_proof(message: Reject) -> HandshakeError:
    """The error for a joint that rejects our proof; a wrong proof means different keys."""
    if message.code == "proof-wrong":
        return HandshakeError("key-wrong", "it was given another key than this arm's")
    return HandshakeError(message.code, f"it refuses: {message.message}")


class SessionKeys:
    """A joint's datagram keys through all streams of one session.

    A joint takes keys from the first handshake that it finishes and keeps them; which one that was,
    each welcome says. So keys that are known to be in force are never given up for newer ones.
    """

    def __init__(self, session: int) -> None:
        self.session = session
        self.current: DatagramKeys | None = None
        """In force as far as is known; None before the first whole handshake."""
        self._current_nonce = ""
        """The joint's nonce of the handshake that they come from."""
        self._proposed: OrderedDict[str, DatagramKeys] = OrderedDict()
        """By the joint's nonce: of handshakes without an answer to their proof."""

    def proposed(self, welcome: Welcome, keys: DatagramKeys) -> None:
        """A proof is being sent: from now on the joint may use these, if it has none yet."""
        if welcome.keyed is not None:
            return
        self._proposed[welcome.nonce] = keys
        while len(self._proposed) > HANDSHAKES_KEPT:
            self._proposed.popitem(last=False)

    def settle(self, welcome: Welcome) -> None:
        """The handshake is complete. Raises HandshakeError when the keys in force are unknown."""
        nonce = welcome.keyed or welcome.nonce
        if nonce == self._current_nonce:
            return
        keys = self._proposed.get(nonce)
        if keys is None:
            raise HandshakeError(
                "keys-unknown", "it keeps datagram keys of a handshake that is not known here"
            )
        self.current, self._current_nonce = keys, nonce
        self._proposed.clear()


class Exchanges:
    """Requests to one joint that wait for their reply, by their random transmit timestamps."""

    def __init__(self) -> None:
        self._waiting: OrderedDict[int, tuple[int, int]] = OrderedDict()

    def request(self, drive: Drive, transmit: int, t1_us: int, keys: DatagramKeys) -> bytes:
        """The datagram for a drive that is sent at `t1_us`."""
        self._waiting[transmit] = drive.sequence, t1_us
        while len(self._waiting) > REQUESTS_KEPT:
            self._waiting.popitem(last=False)
        return encode_drive(drive, transmit, keys.to_joint)

    def reply(self, joint_id: str, data: bytes, t4_us: int, keys: DatagramKeys) -> Replied:
        """What a reply that came at `t4_us` says. Raises WireError; each request counts once.

        The tag is checked first, so that noise cannot use a request up.
        """
        packet, status = decode_status(data, keys.to_coordinator)
        waiting = self._waiting.pop(packet.origin, None)
        if waiting is None:
            raise WireError("reply-unasked", "a reply to no request, or a second one")
        sequence, t1_us = waiting
        exchange = Exchange(
            t1_us,
            math.ceil(ntp.joint_time_us(packet.receive)),
            math.floor(ntp.joint_time_us(packet.transmit)),
            t4_us,
        )
        return Replied(joint_id, sequence, exchange, status)


def frame_body(content: Request | PointsFrame | ImageFrame) -> bytes:
    """The body of a stream frame."""
    if isinstance(content, ImageFrame):
        return encode_image_frame(content)
    return encode_points(content) if isinstance(content, PointsFrame) else encode(content)
