"""Who may move the arm: proofs, session keys and tags (design section 10).

The arm has one random 256-bit key, known to the coordinator and to each joint. On connect both
prove it (HMAC-SHA-256, RFC 2104) over both nonces, both roles, the joint's id, its boot number
and the session. HKDF (RFC 5869, SHA-256) derives one key for each channel and direction. Nothing
is encrypted.
"""

import hashlib
import hmac
from dataclasses import dataclass
from enum import IntEnum
from typing import Final

from protocol.constants import SUBPROTOCOL
from protocol.errors import DatagramError

KEY_BYTES: Final = 32
NONCE_BYTES: Final = 32
TAG_BYTES: Final = 16
KEY_IDENTIFIER: Final = (1).to_bytes(4)
"""The MAC's key identifier (RFC 5905 §7.3): the session's one key for this direction."""
_LABEL: Final = SUBPROTOCOL.encode()


class Direction(IntEnum):
    """Which way a frame or datagram goes."""

    TO_JOINT = 0
    TO_COORDINATOR = 1


class Channel(IntEnum):
    """Which of the two channels a key or tag belongs to."""

    STREAM = 1
    DATAGRAM = 2


@dataclass(frozen=True, slots=True)
class Transcript:
    """What a handshake binds: nobody can replay a proof in another boot, session or role."""

    coordinator_nonce: bytes
    joint_nonce: bytes
    coordinator_id: bytes
    """16 bytes, lasting."""
    joint_id: bytes
    """6 bytes."""
    boot: int
    session: int

    def encode(self) -> bytes:
        """Nonces 32 + 32, coordinator id 16, joint id 6, boot 4, session 8 bytes."""
        return (
            self.coordinator_nonce
            + self.joint_nonce
            + self.coordinator_id
            + self.joint_id
            + self.boot.to_bytes(4)
            + self.session.to_bytes(8)
        )


def proof(key: bytes, role: Direction, transcript: Transcript) -> bytes:
    """32 bytes by which a side shows that it holds the key.

    `role` is the direction in which the proof travels: the joint proves TO_COORDINATOR.
    """
    message = _LABEL + b" proof" + bytes((role,)) + transcript.encode()
    return hmac.digest(key, message, "sha256")


def hkdf_sha256(key: bytes, salt: bytes, info: bytes, length: int) -> bytes:
    """RFC 5869: extract, then expand. Raises ValueError above 255 blocks."""
    if length > 255 * 32:
        raise ValueError(f"HKDF gives at most 8160 bytes, asked for {length}")
    extracted = hmac.digest(salt or b"\0" * 32, key, "sha256")
    block, out = b"", b""
    for counter in range(1, -(-length // 32) + 1):
        block = hmac.digest(extracted, block + info + bytes((counter,)), "sha256")
        out += block
    return out[:length]


def session_key(
    key: bytes, transcript: Transcript, channel: Channel, direction: Direction
) -> bytes:
    """The 32-byte key of one channel and direction for the session of a transcript."""
    salt = transcript.coordinator_nonce + transcript.joint_nonce
    info = _LABEL + b" key" + bytes((channel, direction)) + transcript.encode()[2 * NONCE_BYTES :]
    return hkdf_sha256(key, salt, info, KEY_BYTES)


def tag(key: bytes, direction: Direction, channel: Channel, message: bytes) -> bytes:
    """16 bytes: HMAC-SHA-256 over direction, channel and message, cut in half (RFC 2104 §5)."""
    return hmac.digest(key, bytes((direction, channel)) + message, "sha256")[:TAG_BYTES]


def same(a: bytes, b: bytes) -> bool:
    """Whether two proofs or tags are equal, in constant time."""
    return hmac.compare_digest(a, b)


def seal_datagram(head: bytes, direction: Direction, key: bytes) -> bytes:
    """A datagram with its MAC: key identifier and tag over all before the tag."""
    message = head + KEY_IDENTIFIER
    return message + tag(key, direction, Channel.DATAGRAM, message)


def unseal_datagram(data: bytes, direction: Direction, key: bytes) -> bytes:
    """All before the MAC. Raises DatagramError when key identifier or tag are wrong."""
    message, found = data[:-TAG_BYTES], data[-TAG_BYTES:]
    if len(message) < 4 or message[-4:] != KEY_IDENTIFIER:
        raise DatagramError("mac-missing", f"{len(data)} bytes without a MAC of this session")
    if not same(found, tag(key, direction, Channel.DATAGRAM, message)):
        raise DatagramError("tag-wrong", "the datagram's tag is wrong")
    return message[:-4]


def fingerprint(data: bytes) -> str:
    """SHA-256 in hex."""
    return hashlib.sha256(data).hexdigest()
