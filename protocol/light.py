"""The arm's condition in one word, and how a joint's light shows it.

The patterns follow common practice for indicator lights (IEC 60073, from memory): what asks for
attention flashes, the more urgent the faster, and nothing that moves looks like something at rest.
"""

from collections.abc import Sequence
from enum import StrEnum
from typing import Final

from protocol.constants import SILENCE_US
from protocol.states import JointState


class ConditionWord(StrEnum):
    """The arm's condition."""

    MOVING = "moving"
    HOMING = "homing"
    STARTS = "starts"
    """Nothing moves yet, and will without another command."""
    HELD = "held"
    PAUSED = "paused"
    STOPPED = "stopped"
    MOTORS_OFF = "motors off"
    AT_REST = "at rest"
    NOT_KNOWN = "not known"
    """Of some joint nobody knows whether it moves; of none it is known that it does."""


NUMBERS: Final[dict[ConditionWord, int]] = {
    ConditionWord.NOT_KNOWN: 0,
    ConditionWord.MOVING: 1,
    ConditionWord.HOMING: 2,
    ConditionWord.STARTS: 3,
    ConditionWord.HELD: 4,
    ConditionWord.PAUSED: 5,
    ConditionWord.STOPPED: 6,
    ConditionWord.MOTORS_OFF: 7,
    ConditionWord.AT_REST: 8,
}
"""As a drive carries it."""
WORDS: Final = {number: word for word, number in NUMBERS.items()}
REST_WORDS: Final = frozenset(
    {
        ConditionWord.HELD,
        ConditionWord.PAUSED,
        ConditionWord.STOPPED,
        ConditionWord.MOTORS_OFF,
        ConditionWord.AT_REST,
    }
)
"""Words that claim that every joint rests, and that none will move without another command."""
BLINK: Final = (125_000, 125_000)
"""Which one are you? Four times a second."""
PATTERNS: Final[dict[ConditionWord, tuple[int, ...]]] = {
    ConditionWord.MOVING: (1_000_000,),
    ConditionWord.HOMING: (1_000_000,),
    ConditionWord.STARTS: (250_000, 250_000),
    ConditionWord.HELD: (800_000, 800_000),
    ConditionWord.PAUSED: (800_000, 800_000),
    ConditionWord.STOPPED: (100_000, 200_000, 100_000, 1_200_000),
    ConditionWord.NOT_KNOWN: (100_000, 200_000, 100_000, 200_000, 100_000, 900_000),
    ConditionWord.AT_REST: (100_000, 1_500_000),
    ConditionWord.MOTORS_OFF: (100_000, 3_900_000),
}
"""For how long it is on, off, on …, in µs of the joint's time, again and again."""


def shown(
    told: ConditionWord, state: JointState, *, at_rest: bool, silent_us: float
) -> ConditionWord:
    """The word that a joint's light shows: its own motion and fault before what it was told.

    `silent_us` is the time since the newest valid drive: what the coordinator told before it fell
    silent may not be so any more.
    """
    if not at_rest:
        return ConditionWord.HOMING if state is JointState.HOMING else ConditionWord.MOVING
    if silent_us >= SILENCE_US:
        return ConditionWord.NOT_KNOWN
    if told in REST_WORDS and state is JointState.FAULTED:
        return ConditionWord.STOPPED
    return told


def is_lit(pattern: Sequence[int], now: float) -> bool:
    """Whether a light with this pattern is on."""
    rest = now % sum(pattern)
    lit = True
    for part in pattern:
        if rest < part:
            return lit
        rest -= part
        lit = not lit
    return False
