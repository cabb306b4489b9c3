"""Frames of the stream after the handshake: number (u64), tag (16 bytes), body.

The tag covers direction, channel, number and body. Numbers only grow, so that nothing old is
taken twice; a new stream has new keys and begins at 1 again.
"""

from typing import Final

from protocol.constants import MAX_FRAME_BYTES
from protocol.errors import FrameError
from protocol.keys import TAG_BYTES, Channel, Direction, same, tag

HEAD_BYTES: Final = 8 + TAG_BYTES


class FrameSealer:
    """Numbers and tags the frames of one direction of one stream."""

    def __init__(self, key: bytes, direction: Direction) -> None:
        self._key = key
        self._direction = direction
        self._number = 0

    def seal(self, body: bytes) -> tuple[int, bytes]:
        """The frame's number and its bytes."""
        self._number += 1
        number = self._number.to_bytes(8)
        return self._number, number + tag(
            self._key, self._direction, Channel.STREAM, number + body
        ) + body


class FrameOpener:
    """Checks the frames of one direction of one stream."""

    def __init__(self, key: bytes, direction: Direction) -> None:
        self._key = key
        self._direction = direction
        self._last = 0

    def open(self, frame: bytes) -> tuple[int, bytes]:
        """A frame's number and body. Raises FrameError; after that the stream must be closed."""
        if not HEAD_BYTES < len(frame) <= MAX_FRAME_BYTES:
            raise FrameError("frame-length", f"a frame of {len(frame)} bytes")
        number, found, body = frame[:8], frame[8:HEAD_BYTES], frame[HEAD_BYTES:]
        if not same(found, tag(self._key, self._direction, Channel.STREAM, number + body)):
            raise FrameError("tag-wrong", "a frame's tag is wrong")
        value = int.from_bytes(number)
        if value <= self._last:
            raise FrameError("frame-number", f"frame {value} after frame {self._last}")
        self._last = value
        return value, body
