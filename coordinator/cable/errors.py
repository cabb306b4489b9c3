"""What goes wrong at a cable, each with a stable code and one sentence."""

from enum import StrEnum


class Trouble(StrEnum):
    """What is wrong."""

    NO_PORT = "no-port"
    BUSY = "busy"
    GONE = "gone"
    """The cable was pulled, or the board lost its power."""
    SILENT = "silent"
    STRANGER = "stranger"
    """Something answers, but not as a board of this project."""
    REFUSED = "refused"
    UNKNOWN = "unknown"
    """A board refuses a request that its firmware does not know."""
    OTHER_KEY = "other-key"
    WIFI = "wifi"
    NOT_ANNOUNCED = "not-announced"
    NOT_PROVED = "not-proved"
    IMAGE = "image"
    NOT_FLASHED = "not-flashed"
    LACKING = "lacking"
    """A library that is an optional extra."""


class CableError(Exception):
    """It cannot go on; the text is one sentence for people. It tells no key and no password."""

    def __init__(self, trouble: Trouble, sentence: str) -> None:
        self.trouble = trouble
        super().__init__(sentence)
