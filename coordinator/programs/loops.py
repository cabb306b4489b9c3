"""How often a program is to be played: a number of times, or for a time."""

from dataclasses import dataclass
from typing import Final

MAX_LOOPS: Final = 10_000
MAX_FOR_S: Final = 86_400.0
"""A day. A longer time is a slip, such as one in another unit."""


@dataclass(frozen=True, slots=True)
class Loops:
    """A number of loops, or a time in which whole loops are begun; one of both is None."""

    number: int | None = 1
    """1 to MAX_LOOPS."""
    for_s: float | None = None
    """Seconds since the run began, above 0 and up to MAX_FOR_S: as long as that is not over,
    another loop is begun. The one in motion is always finished."""
    check_edges: bool = False
    """Whether each joint passes the edge of its home sensor between two loops."""

    @property
    def apart(self) -> bool:
        """Whether the arm rests between two loops, so that each is a part of its own."""
        return self.for_s is not None or self.check_edges

    @property
    def several(self) -> bool:
        """Whether there may be more than one."""
        return self.number != 1


ONCE: Final = Loops()


def loops_wanted(
    number: int | None, for_s: float | None = None, *, check_edges: bool = False
) -> Loops:
    """How often a program is wanted: a number of times or for a time; once where nothing is said.

    Raises ValueError with a sentence where both are given, one is out of its bounds, or edges are
    to be checked between loops and there is one loop.
    """
    if number is not None and for_s is not None:
        raise ValueError(
            f"both a number of loops ({number}) and a time ({for_s:g} s) are given; give one"
        )
    if number is not None and not 1 <= number <= MAX_LOOPS:
        raise ValueError(f"the number of loops is {number}, but must be from 1 to {MAX_LOOPS}")
    if for_s is not None:
        if not 0.0 < for_s <= MAX_FOR_S:
            raise ValueError(
                f"the time to play for is {for_s:g} s, but must be above 0 and at most "
                f"{MAX_FOR_S:g} s"
            )
        return Loops(None, for_s, check_edges)
    if check_edges and number in (None, 1):
        raise ValueError("home edges are checked between two loops, and only one loop is asked for")
    return Loops(number or 1, None, check_edges)
