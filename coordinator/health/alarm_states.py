"""The states of an alarm and what takes it from one to another, as data.

Two things make an alarm's state: whether something is wrong, and what somebody has said of it. What
is wrong stays so however often it is acknowledged or shelved: both are about the sign only.
"""

from enum import StrEnum
from typing import Final

from coordinator.codes.alarm_state import AlarmState


class AlarmTrigger(StrEnum):
    """What happened to an alarm."""

    BEGINS = "it is so, for as long as its kind takes"
    ENDS = "it is so no more, for as long as its kind takes"
    ACKNOWLEDGE = "somebody says that it was seen"
    SHELVE = "somebody puts its sign aside, or what was put aside before a restart is known"
    BACK = "its time on the shelf is over, or somebody takes it off, and it is so"
    CLEARED = "the same, and it is not so"
    RECALL = "nobody had seen it before a restart; whether it is so still is not known yet"


S, T = AlarmState, AlarmTrigger
TRANSITIONS: Final[dict[tuple[AlarmState, AlarmTrigger], AlarmState]] = {
    (S.NORMAL, T.BEGINS): S.UNACKNOWLEDGED,
    (S.NORMAL, T.SHELVE): S.SHELVED,
    (S.NORMAL, T.RECALL): S.RETURNED,
    (S.UNACKNOWLEDGED, T.ACKNOWLEDGE): S.ACKNOWLEDGED,
    (S.UNACKNOWLEDGED, T.ENDS): S.RETURNED,
    (S.UNACKNOWLEDGED, T.SHELVE): S.SHELVED,
    (S.ACKNOWLEDGED, T.ENDS): S.NORMAL,
    (S.ACKNOWLEDGED, T.SHELVE): S.SHELVED,
    (S.RETURNED, T.BEGINS): S.UNACKNOWLEDGED,
    (S.RETURNED, T.ACKNOWLEDGE): S.NORMAL,
    (S.RETURNED, T.SHELVE): S.SHELVED,
    (S.SHELVED, T.BEGINS): S.SHELVED,
    (S.SHELVED, T.ENDS): S.SHELVED,
    (S.SHELVED, T.SHELVE): S.SHELVED,  # for another time
    (S.SHELVED, T.BACK): S.UNACKNOWLEDGED,  # acknowledged before or not: somebody must look again
    (S.SHELVED, T.CLEARED): S.NORMAL,
}
"""From a state by a trigger to a state. What is not here does not happen."""


def follow(state: AlarmState, trigger: AlarmTrigger) -> AlarmState:
    """The state after a trigger. Raises KeyError with both names where none is defined."""
    try:
        return TRANSITIONS[state, trigger]
    except KeyError:
        raise KeyError(f"an alarm that is {state} does not know {trigger.name.lower()}") from None


def mermaid() -> str:
    """The table as a state diagram, as it stands in DEVELOPERS.md."""
    lines = ["stateDiagram-v2", "    [*] --> normal"]
    for (state, trigger), target in TRANSITIONS.items():
        lines.append(f"    {state} --> {target}: {trigger.name.lower()}")
    return "\n".join(lines)
