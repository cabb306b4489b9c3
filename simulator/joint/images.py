"""What a joint keeps of images through every restart and power cut: its flash memory.

Each change is made whole or not at all, so power may go between any two of them.
"""

from dataclasses import dataclass
from hashlib import sha256
from typing import Final

from protocol.image import ImageHeader, decode_header

PAGE_BYTES: Final = 4_096
"""Written at once. Frames are half as long, so that an `ack` does not yet say that they are kept:
whoever takes it for that is found out."""
BOARD: Final = "software-joint"
CAPACITY: Final = 1_900_544
"""Bytes: one of two partitions in 4 MB of flash, as is common practice."""


@dataclass(frozen=True, slots=True)
class Image:
    """An image that is wholly here and rightly signed."""

    header: ImageHeader
    data: bytes


class Coming:
    """An image on its way, as far as it is kept."""

    def __init__(self, header: bytes) -> None:
        self.header = header
        """Its 100 bytes."""
        self.described = decode_header(header)
        self.data = b""

    @property
    def is_right(self) -> bool:
        """Whether this is what the header says."""
        return sha256(self.data).digest() == self.described.sha256


class ImageStore:
    """Two images and what to run of them. `public_key` is that of who signs, 32 bytes."""

    def __init__(
        self,
        public_key: bytes,
        board: str = BOARD,
        capacity: int = CAPACITY,
        page_bytes: int = PAGE_BYTES,
    ) -> None:
        self.public_key = public_key
        self.page_bytes = page_bytes
        self.board = board
        self.capacity = capacity
        """Bytes of the largest image."""
        self.running: Image | None = None
        """None is the firmware that did not come over the air."""
        self.on_trial = False
        self.coming: Coming | None = None
        self.fails = False
        """Script a fault: nothing can be stored."""
        self._former: Image | None = None
        """While on trial: what a restart brings back."""
        self._noted: Image | None = None
        """What the next restart tries."""

    @property
    def running_sha256(self) -> str | None:
        """Of the image that runs, in hex; None for the firmware that did not come over the air."""
        return None if self.running is None else self.running.header.sha256.hex()

    def begin(self, header: bytes) -> Coming | None:
        """Keep an image of which nothing is here yet, in place of any other on its way. None where
        it cannot be stored: that other is erased by then.
        """
        self.coming = None if self.fails else Coming(header)
        return self.coming

    def drop(self) -> None:
        """Keep nothing of the image on its way."""
        self.coming = None

    def note(self) -> None:
        """The image on its way, which is whole and right, is to be tried."""
        coming = self.coming
        assert coming is not None, "only asked with an image that is whole"
        self._noted, self.coming = Image(coming.described, coming.data), None

    def restart(self) -> None:
        """What runs from now on: one that was noted, or what an unconfirmed one stood in for."""
        if self.on_trial:
            self.running, self._former, self.on_trial = self._former, None, False
        elif self._noted is not None:
            self._former, self.running, self._noted = self.running, self._noted, None
            self.on_trial = True

    def confirm(self) -> None:
        """What runs stays."""
        self._former, self.on_trial = None, False
