"""A merged firmware image: is it one, whole, and for which chip?

By the formats that the chip's maker documents ("Firmware Image Format", "Partition Tables").
"""

import functools
import hashlib
import operator
from dataclasses import dataclass
from typing import Final

from coordinator.cable.errors import CableError, Trouble

MAX_IMAGE_BYTES: Final = 32 * 1024 * 1024
BOOTLOADER_OFFSETS: Final = (0, 0x1000, 0x2000)
PARTITIONS_OFFSET: Final = 0x8000
_PARTITIONS_BYTES: Final = 0xC00
_PARTITION_BYTES: Final = 32
_PARTITION_MAGIC: Final = b"\xaa\x50"
_APP: Final = 0
_MAGIC: Final = 0xE9
_HEADER_BYTES: Final = 24
_CHECKSUM_SEED: Final = 0xEF
_MAX_SEGMENTS: Final = 16


@dataclass(frozen=True, slots=True)
class MergedImage:
    """All that a bare board needs, from address 0 of its flash on."""

    data: bytes
    chip_id: int
    bootloader_offset: int


def read_image(data: bytes) -> MergedImage:
    """Check an image. Raises CableError with what is wrong."""
    offset = next(
        (
            one
            for one in BOOTLOADER_OFFSETS
            if data[one : one + 1] == bytes((_MAGIC,)) and not data[:one].strip(b"\xff")
        ),
        None,
    )
    if offset is None:
        raise _wrong("it does not begin with a bootloader; make one file of all by 'merge-bin'")
    chip_id = _check_program(data, offset, "bootloader")
    starts = _apps(data)
    if not starts:
        raise _wrong(f"there is no table of partitions with a program at 0x{PARTITIONS_OFFSET:x}")
    held = [one for one in starts if data[one : one + 1] == bytes((_MAGIC,))]
    if not held:
        raise _wrong("it has no program: none of its partitions for one holds any")
    for one in held:
        if _check_program(data, one, "program") != chip_id:
            raise _wrong("its bootloader and its program are for different chips")
    return MergedImage(data, chip_id, offset)


def _apps(data: bytes) -> list[int]:
    """Where partitions for programs begin."""
    table = data[PARTITIONS_OFFSET : PARTITIONS_OFFSET + _PARTITIONS_BYTES]
    found = []
    for at in range(0, len(table), _PARTITION_BYTES):
        row = table[at : at + _PARTITION_BYTES]
        if row[:2] != _PARTITION_MAGIC or len(row) < _PARTITION_BYTES:
            break
        if row[2] == _APP:
            found.append(int.from_bytes(row[4:8], "little"))
    return found


def _check_program(data: bytes, start: int, what: str) -> int:
    """The chip of one program, whose checksum and digest are right. Raises CableError."""
    header = data[start : start + _HEADER_BYTES]
    if len(header) < _HEADER_BYTES or not 1 <= header[1] <= _MAX_SEGMENTS:
        raise _wrong(f"the header of its {what} is none")
    at, checksum = start + _HEADER_BYTES, _CHECKSUM_SEED
    for _ in range(header[1]):
        size = int.from_bytes(data[at + 4 : at + 8], "little")
        segment = data[at + 8 : at + 8 + size]
        if len(segment) < size or at + 8 > len(data):
            raise _wrong(f"its {what} is cut: the file has {len(data)} bytes")
        checksum = functools.reduce(operator.xor, segment, checksum)
        at += 8 + size
    end = start + (at - start + 16) // 16 * 16
    if data[end - 1 : end] != bytes((checksum,)):
        raise _wrong(f"the checksum of its {what} is wrong: it is damaged or cut")
    has_digest = header[23] == 1
    if has_digest and data[end : end + 32] != hashlib.sha256(data[start:end]).digest():
        raise _wrong(f"the digest of its {what} is wrong: it is damaged or cut")
    return int.from_bytes(header[12:14], "little")


def _wrong(why: str) -> CableError:
    return CableError(Trouble.IMAGE, f"the image is no merged firmware image: {why}")
