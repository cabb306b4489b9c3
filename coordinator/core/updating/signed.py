"""The file of a signed image, taken apart. Whether the signature is right, the joint decides."""

import hashlib
from dataclasses import dataclass, field
from typing import Final

from protocol.errors import FrameError
from protocol.image import HEADER_BYTES, LABEL, SIGNATURE_BYTES, ImageHeader, decode_header

MAX_SIGNED_BYTES: Final = 16 * 1024 * 1024 + HEADER_BYTES + SIGNATURE_BYTES
"""Of a file: sixteen MiB is the whole flash memory of a large small controller."""
_HEAD: Final = HEADER_BYTES + SIGNATURE_BYTES


class ImageMistake(ValueError):
    """A file is no signed image, or not a whole one; the text is a sentence."""


@dataclass(frozen=True, slots=True)
class SignedImage:
    """A signed image. The bytes are in no text that is made of it."""

    header: ImageHeader
    signed: bytes = field(repr=False)
    """The header as it was signed, 100 bytes."""
    signature: bytes = field(repr=False)
    """Its Ed25519 signature, 64 bytes."""
    image: bytes = field(repr=False)

    @property
    def file(self) -> bytes:
        """The bytes of its file."""
        return self.signed + self.signature + self.image

    @property
    def digest(self) -> str:
        """SHA-256 of the image, in hex."""
        return self.header.sha256.hex()


def read_signed(name: str, data: bytes) -> SignedImage:
    """The signed image in a file's bytes, whole. `name` is the file's. Raises ImageMistake."""
    if len(data) > MAX_SIGNED_BYTES:
        raise ImageMistake(
            f"{name} has {len(data)} bytes, a signed image at most {MAX_SIGNED_BYTES}"
        )
    if len(data) < HEADER_BYTES:
        raise ImageMistake(
            f"{name} is no signed image: it has {len(data)} bytes, a header alone {HEADER_BYTES}; "
            "'unisono joint sign' makes one"
        )
    signed = data[:HEADER_BYTES]
    try:
        header = decode_header(signed)
    except FrameError as error:
        if signed.startswith(LABEL):
            raise ImageMistake(f"{name} is damaged: {error.message}") from error
        raise ImageMistake(
            f"{name} is no signed image: {error.message}; 'unisono joint sign' makes one"
        ) from error
    image = data[_HEAD:]
    if len(image) != header.size_bytes:
        cut = "cut" if len(image) < header.size_bytes else "too long"
        raise ImageMistake(
            f"{name} is {cut}, or its header is damaged: it has {len(data)} bytes, by its header "
            f"{_HEAD + header.size_bytes}"
        )
    if hashlib.sha256(image).digest() != header.sha256:
        raise ImageMistake(f"{name} is damaged: its image has another SHA-256 than its header says")
    return SignedImage(header, signed, data[HEADER_BYTES:_HEAD], image)
