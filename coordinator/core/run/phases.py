"""The phases of a run and what takes it from one to another, as data.

A run plays its parts one after another, each a trajectory: load, prepare, start, move, discard;
between parts it pauses for the operator, waits for an input, or rests between two loops. Whatever
ends a run before its joints are told to forget the trajectory leads through `discarding`, but for
a stop, which makes them forget it by itself.
"""

from enum import StrEnum
from typing import Final


class Phase(StrEnum):
    """Where a run is."""

    LOADING = "loading"
    PREPARING = "preparing"
    STARTING = "starting"
    MOVING = "moving"
    HOLDING = "holding"
    HELD = "held"
    DISCARDING = "discarding"
    WAITING = "waiting"
    PAUSED = "paused"
    ENDED = "ended"


class Trigger(StrEnum):
    """What happened to a run."""

    LOADED = "every joint holds the first points"
    START = "every joint is prepared; or resume"
    CONFIRMED = "every joint has confirmed the start"
    HOLD = "a hold, whoever asks for it"
    RESTS = "every joint is known to rest"
    PART_DONE = "every joint is at the last point"
    GIVE_UP = "it cannot go on"
    WAIT = "an input is awaited behind the part"
    PAUSE = "the operator must act: the part ends so, or an input did not come"
    NEXT_PART = "resume after a pause, the input is there, or another loop begins"
    END = "nothing is left to do"
    STOP = "a stop, or the session is over"


P, T = Phase, Trigger
TRANSITIONS: Final[dict[tuple[Phase, Trigger], Phase]] = {
    (P.LOADING, T.LOADED): P.PREPARING,
    (P.LOADING, T.GIVE_UP): P.DISCARDING,
    (P.LOADING, T.PAUSE): P.PAUSED,  # a part that is only there because it ends in a pause
    (P.LOADING, T.END): P.ENDED,
    (P.PREPARING, T.START): P.STARTING,
    (P.PREPARING, T.HOLD): P.HOLDING,
    (P.PREPARING, T.GIVE_UP): P.DISCARDING,
    (P.STARTING, T.CONFIRMED): P.MOVING,
    (P.STARTING, T.HOLD): P.HOLDING,
    (P.STARTING, T.PART_DONE): P.DISCARDING,
    (P.MOVING, T.HOLD): P.HOLDING,
    (P.MOVING, T.PART_DONE): P.DISCARDING,
    (P.HOLDING, T.RESTS): P.HELD,
    (P.HOLDING, T.PART_DONE): P.DISCARDING,
    (P.HELD, T.START): P.STARTING,
    (P.HELD, T.GIVE_UP): P.DISCARDING,
    (P.DISCARDING, T.WAIT): P.WAITING,
    (P.DISCARDING, T.PAUSE): P.PAUSED,
    (P.DISCARDING, T.NEXT_PART): P.LOADING,
    (P.DISCARDING, T.END): P.ENDED,
    (P.WAITING, T.NEXT_PART): P.LOADING,
    (P.WAITING, T.PAUSE): P.PAUSED,
    (P.WAITING, T.GIVE_UP): P.DISCARDING,
    (P.WAITING, T.END): P.ENDED,
    (P.PAUSED, T.WAIT): P.WAITING,
    (P.PAUSED, T.NEXT_PART): P.LOADING,
    (P.PAUSED, T.GIVE_UP): P.DISCARDING,
    (P.PAUSED, T.END): P.ENDED,
    **{(phase, T.STOP): P.ENDED for phase in Phase if phase is not P.ENDED},
}
"""From a phase by a trigger to a phase. What is not here does not happen."""


def follow(phase: Phase, trigger: Trigger) -> Phase:
    """The phase after a trigger. Raises KeyError with both names where none is defined."""
    try:
        return TRANSITIONS[phase, trigger]
    except KeyError:
        raise KeyError(f"a run that is {phase} does not know {trigger.name.lower()}") from None


def mermaid() -> str:
    """The table as a state diagram, as it stands in DEVELOPERS.md."""
    lines = ["stateDiagram-v2", "    [*] --> loading"]
    for (phase, trigger), target in TRANSITIONS.items():
        if trigger is not Trigger.STOP:
            lines.append(f"    {phase} --> {target}: {trigger.name.lower()}")
    return "\n".join([*lines, "    ended --> [*]"])
