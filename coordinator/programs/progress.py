"""How far long work on a program is, told to whoever waits for it."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Final, TypeVar

T = TypeVar("T")
EVERY: Final = 256
"""Lines or moves between two of what is told: a tenth of a second where each takes longest."""


class Stage(StrEnum):
    """What is being done. Which there are, and in which order, depends on what is asked."""

    WAITING = "waiting"
    """For another program, which was asked for before."""
    READING = "reading"
    """Lines."""
    RANGES = "ranges"
    """Moves are held against the joints' ranges."""
    PARTS = "parts"
    """Moves are divided into parts."""
    ENDS = "ends"
    """Moves are followed to where they end, part by part."""
    PLANNING = "planning"
    """Moves."""


@dataclass(frozen=True, slots=True)
class Progress:
    """How many of how many lines or moves are done in a stage; both 0 while it waits."""

    stage: Stage
    done: int
    of: int


Tell = Callable[[Progress], None]
"""Called now and then; what it raises ends the work."""


def untold(_progress: Progress) -> None:
    """For work of which nobody wants to know how far it is."""


def counted(items: Iterable[T], stage: Stage, of: int, tell: Tell) -> Iterator[T]:
    """The items as they come, of which every EVERY-th is told once it is done."""
    for done, item in enumerate(items):
        if done and done % EVERY == 0:
            tell(Progress(stage, done, of))
        yield item
