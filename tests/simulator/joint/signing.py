"""Signed images for tests, and the key that signs them."""

from typing import Final

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from protocol.image import ImageFrame, ImageHeader, describe, encode_header
from protocol.messages import Update
from simulator.joint.images import BOARD, ImageStore

SECRET: Final = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
PUBLIC: Final = SECRET.public_key().public_bytes_raw()
STRANGER: Final = Ed25519PrivateKey.from_private_bytes(bytes(range(1, 33)))
CAPACITY: Final = 20_000


def store(capacity: int = CAPACITY) -> ImageStore:
    """Of a joint that takes what `SECRET` signed, and has taken nothing yet."""
    return ImageStore(PUBLIC, capacity=capacity)


def data_of(number: int, size: int = 10_000) -> bytes:
    """An image that is unlike any other."""
    return bytes((k * 7 + number) & 0xFF for k in range(size))


def header_of(data: bytes, firmware: str = "1.5.0", board: str = BOARD) -> ImageHeader:
    """What describes an image."""
    return describe(board, firmware, data)


def announcing(header: ImageHeader, key: Ed25519PrivateKey = SECRET) -> Update:
    """The update that announces what a header describes, signed by a key."""
    described = encode_header(header)
    return Update(header=described.hex(), signature=key.sign(described).hex())


def frames_of(data: bytes, begin: int = 0, count: int = 2_048) -> list[ImageFrame]:
    """The rest of an image, from a byte of it on."""
    return [ImageFrame(at, data[at : at + count]) for at in range(begin, len(data), count)]
