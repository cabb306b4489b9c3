"""Firmware images: the signed header, the file that carries one, and the frames that bring it
(README.md, "Update").

A file is the header (100 bytes), its Ed25519 signature (64 bytes, RFC 8032) and the image. The
header names board, version, size and SHA-256, so whoever trusts the signature can check the rest
as it comes. Numbers are big-endian.
"""

import hashlib
import re
import struct
import zlib
from dataclasses import dataclass
from typing import Final

from protocol.constants import MAX_IMAGE_FRAME_BYTES
from protocol.errors import FrameError

LABEL: Final = b"unisono.image.v1"
IMAGE_FRAME: Final = 2
HEADER_BYTES: Final = 100
SIGNATURE_BYTES: Final = 64
PUBLIC_KEY_BYTES: Final = 32
MAX_IMAGE_BYTES: Final = 2**31 - 1
_HEADER: Final = struct.Struct(">16s16s32sI32s")
_HEAD: Final = struct.Struct(">BBHI")
_CRC: Final = struct.Struct(">I")
_BOARD: Final = re.compile(r"[a-z0-9-]{1,16}")
_FIRMWARE: Final = re.compile(r"[ -~]{1,32}")
_BOARD_IS: Final = "1 to 16 of a-z, 0-9 and hyphen"
_FIRMWARE_IS: Final = "1 to 32 characters of printable ASCII"
_SHOWN: Final = 60
"""Characters of what is wrong."""


@dataclass(frozen=True, slots=True)
class ImageHeader:
    """What is signed of an image."""

    board: str
    """The board that it is for: 1 to 16 of `a`-`z`, `0`-`9` and hyphen."""
    firmware: str
    """Its version, as `welcome` will tell it: 1 to 32 characters of printable ASCII."""
    size_bytes: int
    sha256: bytes
    """Of the image, 32 bytes."""


def describe(board: str, firmware: str, image: bytes) -> ImageHeader:
    """The header of an image."""
    return ImageHeader(board, firmware, len(image), hashlib.sha256(image).digest())


def encode_header(header: ImageHeader) -> bytes:
    """The 100 bytes that are signed. Raises ValueError for a field that is not as it must be."""
    if not _BOARD.fullmatch(header.board):
        raise ValueError(f"a board is {_BOARD_IS}, not {header.board!r}")
    if not _FIRMWARE.fullmatch(header.firmware):
        raise ValueError(f"a version is {_FIRMWARE_IS}, not {header.firmware!r}")
    if not 1 <= header.size_bytes <= MAX_IMAGE_BYTES:
        raise ValueError(f"an image of {header.size_bytes} bytes, it has 1 to {MAX_IMAGE_BYTES}")
    return _HEADER.pack(
        LABEL, header.board.encode(), header.firmware.encode(), header.size_bytes, header.sha256
    )


def decode_header(data: bytes) -> ImageHeader:
    """The header in 100 bytes. Raises FrameError, with `message-invalid`."""
    label, board, firmware, size_bytes, sha256 = _HEADER.unpack(data)
    if label != LABEL:
        raise FrameError(
            "message-invalid", f"it begins with {_shown(label)} in place of {_shown(LABEL)}"
        )
    if not 1 <= size_bytes <= MAX_IMAGE_BYTES:
        raise _wrong("size", str(size_bytes), f"1 to {MAX_IMAGE_BYTES} bytes")
    return ImageHeader(
        _text("board", board, _BOARD, _BOARD_IS),
        _text("version", firmware, _FIRMWARE, _FIRMWARE_IS),
        size_bytes,
        sha256,
    )


def is_signed(header: bytes, signature: bytes, public_key: bytes) -> bool:
    """Whether 64 bytes are the signature of a header by the key with this public half, 32 bytes."""
    # Slow to import, and most that know of images check no signature.
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    try:
        Ed25519PublicKey.from_public_bytes(public_key).verify(signature, header)
    except InvalidSignature:
        return False
    return True


@dataclass(frozen=True, slots=True)
class ImageFrame:
    """A part of an image, from a byte of it on."""

    offset: int
    data: bytes


def encode_image_frame(frame: ImageFrame) -> bytes:
    """Bytes of a frame's body. Raises ValueError for more or fewer bytes than one may carry."""
    if not 1 <= len(frame.data) <= MAX_IMAGE_FRAME_BYTES:
        raise ValueError(f"{len(frame.data)} bytes in a frame, 1 to {MAX_IMAGE_FRAME_BYTES}")
    body = _HEAD.pack(IMAGE_FRAME, 0, len(frame.data), frame.offset) + frame.data
    return body + _CRC.pack(zlib.crc32(body))


def decode_image_frame(body: bytes) -> ImageFrame:
    """The frame in a body. Raises FrameError with a stable code for anything else."""
    if len(body) < _HEAD.size + 1 + _CRC.size:
        raise FrameError("frame-length", f"a frame of an image of {len(body)} bytes is too short")
    kind, zero, count, offset = _HEAD.unpack_from(body)
    if kind != IMAGE_FRAME or zero != 0:
        raise FrameError("frame-type", f"first bytes {kind}, {zero} are no frame of an image")
    if not 1 <= count <= MAX_IMAGE_FRAME_BYTES:
        raise FrameError("frame-length", f"{count} bytes, 1 to {MAX_IMAGE_FRAME_BYTES} allowed")
    end = _HEAD.size + count
    if len(body) != end + _CRC.size:
        raise FrameError("frame-length", f"{count} bytes do not make {len(body)}")
    (crc,) = _CRC.unpack_from(body, end)
    if crc != zlib.crc32(body[:end]):
        raise FrameError("frame-crc", "the CRC-32 of a frame of an image is wrong")
    return ImageFrame(offset, body[_HEAD.size : end])


def _text(what: str, padded: bytes, pattern: re.Pattern[str], wanted: str) -> str:
    """A text filled up with zeros. Raises FrameError."""
    held = padded.rstrip(b"\0")
    found = held.decode("latin-1")
    if not pattern.fullmatch(found):
        raise _wrong(what, _shown(held), wanted)
    return found


def _wrong(what: str, found: str, wanted: str) -> FrameError:
    return FrameError(
        "message-invalid", f"the {what} in its header is {found}, but must be {wanted}"
    )


def _shown(held: bytes) -> str:
    """Bytes in ASCII, no more than a sentence of a joint bears."""
    return ascii(held.decode("latin-1"))[:_SHOWN]
