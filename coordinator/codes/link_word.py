"""Whether a joint can be talked to, in one word."""

from enum import StrEnum


class LinkWord(StrEnum):
    """Whether a joint can be talked to."""

    UP = "up"
    CONNECTING = "connecting"
    """It answers, and its stream is being opened."""
    OFFLINE = "offline"
    """It is not heard: nobody knows what it does."""
    CONFLICT = "conflict"
    """Two joints prove its id: nothing moves it."""
