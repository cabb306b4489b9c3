"""What joints tell of themselves, in words for people."""

from typing import Final

from protocol import messages
from protocol.constants import US
from protocol.drive import StopLevel

_HELD: Final = {
    "permit": "its permission to move ran out",
    "withdrawn": "its permission to move was taken back",
    "late": "a change of speed reached it too late",
    "silence": "it heard nothing for too long",
    "expiry": "its permission to catch up ran out",
    "clock": "its clock could not be trusted any more",
}
_STOPPED: Final = {
    StopLevel.STOP: "has stopped",
    StopLevel.STOP_AND_RELEASE: "has stopped, and its motor has no current now: it can sink",
    StopLevel.RELEASE: "has its motor off: it can sink",
}


_HOLDS: Final = frozenset({"permit", "withdrawn"})
"""How a hold of the whole arm comes to a joint: its permission goes no further."""


def held(name: str, report: messages.Held, arm_holds: str = "") -> str:
    """A joint came to rest on the path; `arm_holds` is why the whole arm does, if it does."""
    as_told = arm_holds and report.cause in _HOLDS
    why = f"it was told to hold: {arm_holds}" if as_told else why_held(report)
    return f"{name} holds at {report.path_us / US:.3f} s of the path: {why}"


def why_held(report: messages.Held) -> str:
    """Why it came to rest by itself, a clause."""
    # Joints may know more causes than this; theirs are short words too.
    return _HELD.get(report.cause, report.cause)


def stopped(name: str, report: messages.Stopped) -> str:
    """A joint came to rest off the path."""
    words = _STOPPED.get(StopLevel(report.level), "came to rest")
    return f"{name} {words}"
