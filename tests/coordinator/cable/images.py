"""Firmware images as the chip's maker describes them."""

import functools
import hashlib
import operator

ESP32_S3 = 9


def program(
    chip_id: int = ESP32_S3, body: bytes = b"pricking out", *, digest: bool = True
) -> bytes:
    """One program of one segment."""
    body += bytes(-len(body) % 4)
    header = bytes((0xE9, 1, 2, 0x20)) + (0x40374000).to_bytes(4, "little")
    header += b"\xee\0\0\0" + chip_id.to_bytes(2, "little") + b"\0\0\0\xff\xff" + bytes(4)
    header += bytes((digest,))
    assert len(header) == 24
    text = header + (0x3FCE3818).to_bytes(4, "little") + len(body).to_bytes(4, "little") + body
    text += bytes(-(len(text) + 1) % 16) + bytes((functools.reduce(operator.xor, body, 0xEF),))
    return text + (hashlib.sha256(text).digest() if digest else b"")


def partition(kind: int, offset: int, size: int = 0x10000) -> bytes:
    row = b"\xaa\x50" + bytes((kind, 0)) + offset.to_bytes(4, "little") + size.to_bytes(4, "little")
    return row + b"name".ljust(16, b"\0") + bytes(4)


def merged(
    bootloader: bytes | None = None, app: bytes | None = None, offset: int = 0, table: bytes = b""
) -> bytes:
    """All in one file, with 0xFF between."""
    image = bytearray(b"\xff" * 0x10000)
    for at, what in (
        (offset, program(body=b"boot") if bootloader is None else bootloader),
        (0x8000, table or partition(1, 0x9000) + partition(0, 0x10000)),
    ):
        image[at : at + len(what)] = what
    return bytes(image) + (program() if app is None else app)
