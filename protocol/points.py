"""Trajectory points and the frames that carry them (design section 3).

A frame's body, big-endian: 1 (u8), 0 (u8), count (u16), trajectory (u32), first index (u32), the
points, CRC-32 (u32, as in IEEE 802.3 and zlib) over all before it. A point is 24 bytes: path
time µs (i64), position (i64), velocity (i32), flags (u8), output mask (u8), output values (u8),
0 (u8).
"""

import struct
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from protocol.constants import MAX_INTEGER, MAX_POINTS_PER_FRAME
from protocol.errors import FrameError

POINTS_FRAME: Final = 1
_HEAD: Final = struct.Struct(">BBHII")
_POINT: Final = struct.Struct(">qqiBBBB")
_CRC: Final = struct.Struct(">I")
FLAG_LAST: Final = 1
FLAG_OUTPUT: Final = 2


@dataclass(frozen=True, slots=True)
class Point:
    """One knot of a cubic Hermite path."""

    time_us: int
    """Path time, 0 at the first point."""
    position: int
    """Microsteps × 256."""
    velocity: int
    """Microsteps × 256 per second of path time."""
    last: bool = False
    output_mask: int = 0
    """Outputs that switch here; 0 switches none."""
    output_values: int = 0


@dataclass(frozen=True, slots=True)
class PointsFrame:
    """Consecutive points of one trajectory, from `first_index` on."""

    trajectory: int
    first_index: int
    points: tuple[Point, ...]


def encode_points(frame: PointsFrame) -> bytes:
    """Bytes of a frame's body. Raises ValueError beyond MAX_POINTS_PER_FRAME or a field's range."""
    if not 1 <= len(frame.points) <= MAX_POINTS_PER_FRAME:
        raise ValueError(f"{len(frame.points)} points in a frame, 1 to {MAX_POINTS_PER_FRAME}")
    head = (POINTS_FRAME, 0, len(frame.points), frame.trajectory, frame.first_index)
    try:
        parts = [_HEAD.pack(*head), *(_encode(point) for point in frame.points)]
    except struct.error as error:
        raise ValueError(f"a number does not fit its field: {error}") from error
    body = b"".join(parts)
    return body + _CRC.pack(zlib.crc32(body))


def decode_points(body: bytes) -> PointsFrame:
    """The frame in a body. Raises FrameError with a stable code for anything else."""
    if len(body) < _HEAD.size + _POINT.size + _CRC.size:
        raise FrameError("frame-length", f"a points frame of {len(body)} bytes is too short")
    kind, zero, count, trajectory, first_index = _HEAD.unpack_from(body)
    if kind != POINTS_FRAME or zero != 0:
        raise FrameError("frame-type", f"first bytes {kind}, {zero} are no points frame")
    if not 1 <= count <= MAX_POINTS_PER_FRAME:
        raise FrameError("frame-length", f"{count} points, 1 to {MAX_POINTS_PER_FRAME} allowed")
    end = _HEAD.size + count * _POINT.size
    if len(body) != end + _CRC.size:
        raise FrameError("frame-length", f"{count} points do not make {len(body)} bytes")
    (crc,) = _CRC.unpack_from(body, end)
    if crc != zlib.crc32(body[:end]):
        raise FrameError("frame-crc", "the CRC-32 of a points frame is wrong")
    points = tuple(_decode(fields) for fields in _POINT.iter_unpack(body[_HEAD.size : end]))
    return PointsFrame(trajectory, first_index, points)


def frames_of(trajectory: int, first_index: int, points: Sequence[Point]) -> list[PointsFrame]:
    """Points split into frames of the largest size."""
    return [
        PointsFrame(trajectory, first_index + k, tuple(points[k : k + MAX_POINTS_PER_FRAME]))
        for k in range(0, len(points), MAX_POINTS_PER_FRAME)
    ]


def _encode(point: Point) -> bytes:
    flags = (FLAG_LAST if point.last else 0) | (FLAG_OUTPUT if point.output_mask else 0)
    return _POINT.pack(
        point.time_us, point.position, point.velocity, flags,
        point.output_mask, point.output_values, 0,
    )  # fmt: skip


def _decode(fields: tuple[int, int, int, int, int, int, int]) -> Point:
    time_us, position, velocity, flags, mask, values, zero = fields
    if flags & ~(FLAG_LAST | FLAG_OUTPUT) or zero or bool(flags & FLAG_OUTPUT) != bool(mask):
        raise FrameError("frame-field", f"flags {flags} with output mask {mask} make no point")
    if max(abs(time_us), abs(position)) > MAX_INTEGER:
        raise FrameError(
            "frame-field",
            f"time {time_us} and position {position}, the largest number is {MAX_INTEGER}",
        )
    return Point(time_us, position, velocity, bool(flags & FLAG_LAST), mask, values)
