"""An image on its way: which bytes come next, and how far the joint has acknowledged them."""

from typing import Final

from protocol.constants import MAX_IMAGE_FRAME_BYTES
from protocol.image import ImageFrame

FRAMES_UNDER_WAY: Final = 4
"""More would only queue in the joint's small TCP stack."""


class ImageFeed:
    """The bytes of one image, from where the joint says that it lacks them."""

    def __init__(self, image: bytes) -> None:
        self._image = image
        self._sent = 0
        self._under_way = 0
        self.acked = 0
        """Bytes that came, one behind the other from the first on."""
        self.furthest = 0
        """The most that ever came: only beyond it there is progress."""

    def begin_at(self, offset: int) -> bool:
        """Go on from a byte of it: the joint has all before. Whether it never had as much."""
        self._sent = self.acked = offset
        self._under_way = 0
        return self._advanced()

    def take(self) -> ImageFrame | None:
        """The next frame to be sent; None while enough are under way, or all is out."""
        offset = self._sent
        if self._under_way >= FRAMES_UNDER_WAY or offset >= len(self._image):
            return None
        frame = ImageFrame(offset, self._image[offset : offset + MAX_IMAGE_FRAME_BYTES])
        self._sent += len(frame.data)
        self._under_way += 1
        return frame

    def acknowledged(self, end: int) -> bool:
        """The joint has all before a byte; whether that is more than it ever had."""
        self._under_way = max(0, self._under_way - 1)
        self.acked = max(self.acked, end)
        return self._advanced()

    @property
    def is_through(self) -> bool:
        """Whether all of it has come."""
        return self.acked >= len(self._image)

    def _advanced(self) -> bool:
        is_more = self.acked > self.furthest
        self.furthest = max(self.furthest, self.acked)
        return is_more
