"""A joint's states and what takes it from one to another, as data.

Two rules. A joint moves only in `homing advancing moving ramping jogging stopping` and, with
drivers braking, never in `faulted`: a fault in motion passes through `stopping`. And only the
triggers in the table change the state; anything else leaves it and is answered with a reason.
"""

from enum import IntEnum, StrEnum
from typing import Final


class JointState(IntEnum):
    """Number on the wire and name in every text."""

    UNHOMED = 0
    HOMING = 1
    READY = 2
    PREPARED = 3
    ADVANCING = 4
    ARMED = 5
    MOVING = 6
    RAMPING = 7
    HELD = 8
    FINISHED = 9
    JOGGING = 10
    STOPPING = 11
    FAULTED = 12

    @property
    def word(self) -> str:
        """The state's name in lower case."""
        return self.name.lower()


class Trigger(StrEnum):
    """What happened to a joint."""

    HOME = "drive: mode home with a new number"
    HOMED = "both edges found"
    PREPARE = "request: prepare accepted"
    DISCARD = "request: discard; or a new session"
    ARM_HERE = "drive: plan, standing at its path time"
    ARM_AHEAD = "drive: plan, standing before its path time"
    ARRIVED = "advance reached the plan's path time"
    DISARM_START = "drive: no plan, standing at path time 0"
    DISARM_PATH = "drive: no plan, standing further on"
    START = "the start's instant, with permit"
    RAMP = "permit reached, withdrawn, or silence"
    REST = "at rest"
    LAST_POINT = "last point reached"
    JOG = "drive: mode jog"
    STOP = "stop level 1 or 2; or expiry"
    RELEASE = "stop level 3; or drivers off"
    FAULT = "a fault while at rest"
    CLEAR_HOMED = "request: clear, position still sure"
    CLEAR_UNHOMED = "request: clear, position not sure"
    REST_HOMED = "at rest, position sure, no fault"
    REST_UNHOMED = "at rest, position not sure, no fault"
    REST_FAULT = "at rest, with a fault"
    UNHOME = "new geometry; or drivers off"


S = JointState
T = Trigger

AT_REST: Final = frozenset({S.UNHOMED, S.READY, S.PREPARED, S.ARMED, S.HELD, S.FINISHED, S.FAULTED})
ON_PATH: Final = frozenset({S.PREPARED, S.ADVANCING, S.ARMED, S.MOVING, S.RAMPING, S.HELD})
"""States with a trajectory that is not yet finished."""
MOVING_STATES: Final = frozenset(S) - AT_REST

_REST_STATES: Final = (S.UNHOMED, S.READY, S.PREPARED, S.ARMED, S.HELD, S.FINISHED)
_MOTION: Final = (S.HOMING, S.ADVANCING, S.MOVING, S.RAMPING, S.JOGGING)

TRANSITIONS: Final[dict[tuple[JointState, Trigger], JointState]] = {
    (S.UNHOMED, T.HOME): S.HOMING,
    (S.READY, T.HOME): S.HOMING,
    (S.HOMING, T.HOMED): S.READY,
    (S.UNHOMED, T.JOG): S.JOGGING,
    (S.READY, T.JOG): S.JOGGING,
    (S.READY, T.PREPARE): S.PREPARED,
    (S.PREPARED, T.ARM_HERE): S.ARMED,
    (S.PREPARED, T.ARM_AHEAD): S.ADVANCING,
    (S.HELD, T.ARM_HERE): S.ARMED,
    (S.HELD, T.ARM_AHEAD): S.ADVANCING,
    (S.ADVANCING, T.ARRIVED): S.ARMED,
    (S.ADVANCING, T.LAST_POINT): S.FINISHED,
    (S.ADVANCING, T.RAMP): S.RAMPING,
    (S.ARMED, T.ARM_AHEAD): S.ADVANCING,
    (S.ARMED, T.DISARM_START): S.PREPARED,
    (S.ARMED, T.DISARM_PATH): S.HELD,
    (S.ARMED, T.START): S.MOVING,
    (S.HELD, T.LAST_POINT): S.FINISHED,
    (S.ARMED, T.LAST_POINT): S.FINISHED,
    (S.MOVING, T.RAMP): S.RAMPING,
    (S.MOVING, T.LAST_POINT): S.FINISHED,
    (S.RAMPING, T.LAST_POINT): S.FINISHED,
    (S.RAMPING, T.REST): S.HELD,
    (S.STOPPING, T.REST_HOMED): S.READY,
    (S.STOPPING, T.REST_UNHOMED): S.UNHOMED,
    (S.STOPPING, T.REST_FAULT): S.FAULTED,
    (S.FAULTED, T.CLEAR_HOMED): S.READY,
    (S.FAULTED, T.CLEAR_UNHOMED): S.UNHOMED,
    (S.READY, T.UNHOME): S.UNHOMED,
    **{(state, T.STOP): S.STOPPING for state in _MOTION},
    **{(state, T.DISCARD): S.READY for state in (S.PREPARED, S.ARMED, S.HELD, S.FINISHED)},
    **{(state, T.RELEASE): S.UNHOMED for state in (*_REST_STATES, *_MOTION, S.STOPPING)},
    **{(state, T.FAULT): S.FAULTED for state in _REST_STATES},
}
"""From a state by a trigger to a state. What is not here does not happen.

A stop in a state at rest on a path is a DISCARD; in UNHOMED, READY and FAULTED it only latches.
"""


def follow(state: JointState, trigger: Trigger) -> JointState:
    """The state after a trigger. Raises KeyError with both names where none is defined."""
    try:
        return TRANSITIONS[state, trigger]
    except KeyError:
        raise KeyError(f"{state.word} does not know {trigger.name.lower()}") from None


def mermaid() -> str:
    """The table as a state diagram, as it stands in README.md."""
    lines = ["stateDiagram-v2", "    [*] --> unhomed"]
    for (state, trigger), target in TRANSITIONS.items():
        lines.append(f"    {state.word} --> {target.word}: {trigger.name.lower()}")
    return "\n".join(lines)
