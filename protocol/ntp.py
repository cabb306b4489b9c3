"""The NTP packet that every datagram is (RFC 5905 §7.3), and its extension fields (RFC 7822).

Timestamps are 32.32 fixed point seconds. A joint has no calendar: its timestamps count seconds
since its boot, with 1 added so that the first second is not the invalid zero timestamp
(RFC 5905 §6). A client that measures offsets is not hurt by a constant.
"""

import struct
from dataclasses import dataclass
from typing import Final

from protocol.constants import US
from protocol.errors import DatagramError

PACKET_BYTES: Final = 48
VERSION: Final = 4
MODE_CLIENT: Final = 3
MODE_SERVER: Final = 4
BOOT_EPOCH_S: Final = 1
"""Seconds added to joint time in a timestamp, so that no timestamp is zero."""

STRATUM: Final = 1
"""A joint is the primary source of its own time; clients accept 1 to 15."""
PRECISION: Final = -20
"""log2 seconds: about one microsecond."""
REFERENCE_ID: Final = b"UNIS"

_PACKET: Final = struct.Struct(">BBbbII4sQQQQ")
_FIELD: Final = struct.Struct(">HH")


@dataclass(frozen=True, slots=True)
class NtpPacket:
    """The fields of a packet that mean something here; timestamps are raw 64-bit values."""

    mode: int
    transmit: int
    origin: int = 0
    receive: int = 0
    version: int = VERSION


def timestamp(joint_us: float) -> int:
    """The 32.32 timestamp of a joint time in µs, rounded to the nearest unit (0.23 ns)."""
    # Seconds apart from their fraction: a double holds either exactly enough, not both.
    seconds, fraction_us = divmod(joint_us + BOOT_EPOCH_S * US, US)
    return ((int(seconds) << 32) + round(fraction_us * (1 << 32) / US)) & ((1 << 64) - 1)


def joint_time_us(stamp: int) -> float:
    """The joint time in µs of a 32.32 timestamp."""
    return stamp * US / (1 << 32) - BOOT_EPOCH_S * US


def encode_request(transmit: int) -> bytes:
    """A client's bare 48 bytes. `transmit` is random: a nonce, not a time."""
    return _PACKET.pack(VERSION << 3 | MODE_CLIENT, 0, 0, PRECISION, 0, 0, b"\0" * 4, 0, 0, 0,
                        transmit)  # fmt: skip


def encode_reply(request: NtpPacket, receive_us: float, transmit_us: float) -> bytes:
    """A server's bare 48 bytes: leap 0, the client's version, its transmit time as origin."""
    receive = timestamp(receive_us)
    return _PACKET.pack(
        min(request.version, VERSION) << 3 | MODE_SERVER, STRATUM, 0, PRECISION, 0, 0,
        REFERENCE_ID, receive, request.transmit, receive, timestamp(transmit_us),
    )  # fmt: skip


def decode_packet(data: bytes) -> NtpPacket:
    """The packet at the start of a datagram. Raises DatagramError when it cannot be one."""
    if len(data) < PACKET_BYTES:
        raise DatagramError("ntp-length", f"{len(data)} bytes are no NTP packet of 48")
    first, _, _, _, _, _, _, _, origin, receive, transmit = _PACKET.unpack_from(data)
    version, mode = first >> 3 & 7, first & 7
    if version not in (1, 2, 3, 4) or mode not in (MODE_CLIENT, MODE_SERVER):
        raise DatagramError("ntp-mode", f"NTP version {version} mode {mode} is not served here")
    return NtpPacket(mode, transmit, origin, receive, version)


def encode_field(kind: int, value: bytes) -> bytes:
    """An extension field: type, length of the whole, value padded with zeros to 4 bytes."""
    padded = value + b"\0" * (-len(value) % 4)
    return _FIELD.pack(kind, _FIELD.size + len(padded)) + padded


def decode_field(data: bytes, offset: int, kind: int, value_bytes: int) -> bytes:
    """The value of the one extension field expected at an offset. Raises DatagramError."""
    padded = value_bytes + -value_bytes % 4
    if len(data) < offset + _FIELD.size + padded:
        raise DatagramError("field-length", "the datagram ends within its extension field")
    found, length = _FIELD.unpack_from(data, offset)
    if found != kind or length != _FIELD.size + padded:
        raise DatagramError(
            "field-type",
            f"extension field {found:#06x} of {length} bytes, not {kind:#06x}",
        )
    start = offset + _FIELD.size
    return data[start : start + value_bytes]


def field_bytes(value_bytes: int) -> int:
    """Length on the wire of an extension field with a value of this length."""
    return _FIELD.size + value_bytes + -value_bytes % 4
