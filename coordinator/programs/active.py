"""Comments that are executed: those that begin with `UNISONO,`, as one with `MSG,` in the standard.

`(UNISONO, speed 40)` on the line of a rapid move has it made at 40 % of the joints' velocity
limits. `(UNISONO, A turntable)` before the first motion says that A is the turntable.
"""

import re
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from coordinator.config.joint import NAME

# Every blank has one place to go, so that the work grows with the comment's length and no faster.
_ACTIVE: Final = re.compile(r"[ \t]*UNISONO[ \t]*,(.*)", re.IGNORECASE | re.ASCII)
_SPEED: Final = re.compile(
    r"[ \t]*speed[ \t]+([0-9]+(?:\.[0-9]*)?|\.[0-9]+)[ \t]*(?:%[ \t]*)?", re.IGNORECASE | re.ASCII
)
_LETTER: Final = re.compile(rf"[ \t]*([A-Za-z])[ \t]+({NAME})[ \t]*")


@dataclass(frozen=True, slots=True)
class Speed:
    """A rapid move at a share of full speed."""

    percent: str
    """Digits, with a point or without."""

    @property
    def share(self) -> float:
        """Of the joints' velocity limits."""
        return share_of(Decimal(self.percent))


@dataclass(frozen=True, slots=True)
class Naming:
    """A joint's letter in this program."""

    letter: str
    """Upper case."""
    joint: str


@dataclass(frozen=True, slots=True)
class Strange:
    """Something else, which cannot be executed."""

    text: str


def read_comment(text: str) -> Speed | Naming | Strange | None:
    """What a comment asks for; None for an ordinary one."""
    found = _ACTIVE.fullmatch(text)
    if found is None:
        return None
    if speed := _SPEED.fullmatch(found[1]):
        return Speed(speed[1])
    if letter := _LETTER.fullmatch(found[1]):
        return Naming(letter[1].upper(), letter[2])
    return Strange(found[1])


def share_of(percent: Decimal) -> float:
    """The share that is nearest to so many per cent."""
    return float(percent / 100)
