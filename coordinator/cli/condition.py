"""The arm's condition in words: the coordinator's own word and cause (`core/condition.py`).

Nothing here judges whether the arm moves.
"""

import contextlib
from collections.abc import Callable, Iterable, Iterator
from datetime import datetime, timedelta
from math import ceil
from typing import TYPE_CHECKING, Final

from coordinator.cli.common import ExitCode, Failure
from coordinator.client import Client, Unreachable
from protocol.constants import US
from protocol.light import REST_WORDS, ConditionWord

if TYPE_CHECKING:
    from coordinator.client.values import ArmSnapshot

BEWARE: Final = "what has not confirmed may still move: use the emergency stop that cuts the power"


def headline(arm: "ArmSnapshot") -> str:
    """The word, when it starts, why, and by when joints that are offline are at rest."""
    condition = arm.condition
    when = ""
    if condition.at_us is not None:
        when = f" in {max(0, condition.at_us - arm.now_us) / US:.1f} s"
    parts = [f"{condition.word}{when}"]
    if condition.cause:
        parts[0] += f": {condition.cause}"
    if condition.rests_by_us is not None:
        parts.append(by_own_rules(condition.rests_by_us - arm.now_us))
    return "; ".join(parts)


def by_own_rules(left_us: int) -> str:
    """By when joints that hear nothing rest; whole seconds, never told too early."""
    by = datetime.now().astimezone() + timedelta(microseconds=left_us)
    told = datetime.fromtimestamp(ceil(by.timestamp()), by.tzinfo)
    since = "since" if left_us < 0 else "by"
    return f"by its own rules at rest {since} {told:%H:%M:%S}, not confirmed"


def unconfirmed(arm: "ArmSnapshot") -> list[str]:
    """What comes before all else: joints that a stop has not reached."""
    names = arm.condition.unconfirmed
    return [not_confirmed_by(names)] if names else []


def not_confirmed_by(names: Iterable[str], more: str = "") -> str:
    """A stop that has not reached these joints, in the words that come before all else."""
    return f"STOP NOT CONFIRMED by {' '.join(names) or 'the arm'}{more}: {BEWARE}"


def is_at_rest(arm: "ArmSnapshot") -> bool:
    """Whether the word claims that every joint rests."""
    return arm.condition.word in REST_WORDS


def is_unknown(arm: "ArmSnapshot") -> bool:
    """Whether some joint is offline, and of none it is known that it moves."""
    return arm.condition.word == ConditionWord.NOT_KNOWN


Look = Callable[[], "ArmSnapshot"]
"""Asks for the arm's state now."""


@contextlib.contextmanager
def watching(client: Client) -> Iterator[Look]:
    """For those who look again and again: where the coordinator falls silent, what is known."""
    arm: ArmSnapshot | None = None

    def look() -> "ArmSnapshot":
        nonlocal arm
        arm = client.arm()
        return arm

    try:
        yield look
    except Unreachable as error:
        if arm is None:
            raise
        raise Failure(ExitCode.UNREACHABLE, str(error), *_known(arm)) from error


def _known(arm: "ArmSnapshot") -> list[str]:
    """Of an arm whose coordinator does not answer any more; `arm` is what it said last."""
    sentences = [*unconfirmed(arm), f"when it answered last, the arm was: {headline(arm)}"]
    if not is_at_rest(arm):
        rests = by_own_rules(arm.rests_after_us)
        sentences.append(f"if the coordinator has ended, every joint is {rests}")
    return sentences
