"""What people call the levels of a stop, in the API and on the command line."""

from typing import Final, Literal

from protocol.drive import StopLevel

StopWord = Literal["stop", "stop-and-release", "release"]
STOP_LEVELS: Final[dict[StopWord, StopLevel]] = {
    "stop": StopLevel.STOP,
    "stop-and-release": StopLevel.STOP_AND_RELEASE,
    "release": StopLevel.RELEASE,
}
STOP_WORDS: Final = {level: word for word, level in STOP_LEVELS.items()}
