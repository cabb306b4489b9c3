"""What joints tell of themselves, in words for people."""

from typing import Final

from protocol import messages
from protocol.constants import US
from protocol.drive import StopLevel

_HELD: Final = {
    "lease": "its permission to move ran out",
    "withdrawn": "its permission to move was taken back",
    "late": "a change of speed reached it too late",
    "silence": "it heard nothing for too long",
    "expiry": "its permission to catch up ran out",
    "clock": "its clock could not be trusted any more",
}
_STOPPED: Final = {
    StopLevel.STOP: "has stopped",
    StopLevel.STOP_AND_RELEASE: "has stopped, and its motor has no current now: it can sink",
    StopLevel.RELEASE: "has let go: its motor has no current, it can sink",
}


def held(name: str, report: messages.Held) -> str:
    """A joint came to rest on the path by itself."""
    # Joints may know more causes than this; theirs are short words too.
    why = _HELD.get(report.cause, report.cause)
    return f"{name} holds at {report.path_us / US:.3f} s of the path: {why}"


def stopped(name: str, report: messages.Stopped) -> str:
    """A joint came to rest off the path."""
    words = _STOPPED.get(StopLevel(report.level), "came to rest")
    return f"{name} {words}"
