"""Frames of the cable, and how they are found in bytes with noise between (CABLE.md, "Frame")."""

import zlib
from dataclasses import dataclass, field
from typing import Final

SYNC: Final = b"\xfe\xc5"
MAX_BODY_BYTES: Final = 128
HEAD_BYTES: Final = 6
CRC_BYTES: Final = 4
MAX_FRAME_BYTES: Final = HEAD_BYTES + MAX_BODY_BYTES + CRC_BYTES
PAUSE_S: Final = 0.1
"""Without a byte within a frame, after which `Decoder.pause` is told."""


@dataclass(frozen=True, slots=True)
class Frame:
    """One frame. Its body may be a secret, and is in no text that is made of it."""

    kind: int
    number: int
    body: bytes = field(default=b"", repr=False)


def encode(frame: Frame) -> bytes:
    """A frame's bytes. Raises ValueError for a body beyond MAX_BODY_BYTES."""
    length = len(frame.body)
    if length > MAX_BODY_BYTES:
        raise ValueError(f"a body of {length} bytes, a frame takes {MAX_BODY_BYTES}")
    checked = bytes((length, 255 - length, frame.kind, frame.number)) + frame.body
    return SYNC + checked + zlib.crc32(checked).to_bytes(CRC_BYTES)


class Decoder:
    """Bytes in, frames out. It keeps at most MAX_FRAME_BYTES."""

    def __init__(self) -> None:
        self._kept = bytearray()

    def feed(self, data: bytes) -> list[Frame]:
        """The frames that end with these bytes."""
        frames = []
        for byte in data:
            self._kept.append(byte)
            frames += self._frames()
        return frames

    def pause(self) -> list[Frame]:
        """No byte came for PAUSE_S: what is kept ends here. The frames that were within it."""
        frames = []
        while self._kept:
            del self._kept[0]
            frames += self._frames()
        return frames

    def _frames(self) -> list[Frame]:
        frames = []
        while self._kept:
            end = _end(self._kept)
            if end is None:
                break
            if end > 0:
                frames.append(_frame(bytes(self._kept[:end])))
            del self._kept[: end or 1]
        return frames


def _end(kept: bytearray) -> int | None:
    """How long the frame is that stands at the beginning; 0 for none, None for not yet known."""
    if not SYNC.startswith(kept[: len(SYNC)]):
        return 0
    if len(kept) > 2 and kept[2] > MAX_BODY_BYTES:
        return 0
    if len(kept) < 4:
        return None
    length = kept[2]
    if kept[3] != 255 - length:
        return 0
    end = HEAD_BYTES + length + CRC_BYTES
    if len(kept) < end:
        return None
    crc = int.from_bytes(kept[end - CRC_BYTES : end])
    return end if zlib.crc32(kept[2 : end - CRC_BYTES]) == crc else 0


def _frame(whole: bytes) -> Frame:
    return Frame(whole[4], whole[5], whole[HEAD_BYTES:-CRC_BYTES])
