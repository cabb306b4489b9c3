"""How finely the past is kept, and which of it answers a question.

Every sample goes into a cell of each level at once, so nothing is lost when finer cells go. A joint
has about 21,600 cells of a second and 50,400 of a minute at most, and 8,760 of an hour with each
year, of a hundred bytes or so: tests/bench, table `history`, has the size on the disk.
"""

import math
from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Level:
    """Cells of one length."""

    cell_s: int
    kept_s: int | None
    """How long; None for ever."""

    def start_of(self, at_s: int) -> int:
        """Where the cell begins that an instant is in."""
        return at_s // self.cell_s * self.cell_s

    def reaches(self, at_s: int, now_s: int) -> bool:
        """Whether its cells of that instant are kept still."""
        return self.kept_s is None or at_s >= now_s - self.kept_s


HOUR: Final = Level(3_600, None)
"""Never deleted: what a joint did in all its life is their sum."""
LEVELS: Final = (Level(1, 6 * 3_600), Level(60, 35 * 86_400), HOUR)
"""Finest first. Each length is a multiple of the one before."""
LEAST_POINTS: Final = 2
MOST_POINTS: Final = 2_000


@dataclass(frozen=True, slots=True)
class Look:
    """A look at the past: cells of one level, put together to stretches of one width."""

    level: Level
    width_s: int
    from_s: int
    """The first stretch begins here: a multiple of the width."""
    to_s: int
    """The last one ends here, also a multiple of the width."""

    @property
    def count(self) -> int:
        """How many stretches it has at most."""
        return (self.to_s - self.from_s) // self.width_s


def look_at(from_s: int, to_s: int, points: int, now_s: int) -> Look:
    """All of that time in at most so many stretches, and a little more where it begins and ends.

    By the coarsest cells that are fine enough, so that of seconds and minutes at most sixty times
    as many are read as stretches are told; of hours all of that time. But by coarser ones where
    those are not kept any more where it begins. `from_s` is before `to_s`.
    """
    wide_s = (to_s - from_s) / points
    kept = [level for level in LEVELS if level.reaches(from_s, now_s)]
    level = next((one for one in reversed(kept) if one.cell_s <= wide_s), kept[0])
    times = max(1, math.ceil(wide_s / level.cell_s))
    while True:
        width_s = times * level.cell_s
        begin_s, end_s = from_s // width_s * width_s, -(-to_s // width_s) * width_s
        look = Look(level, width_s, begin_s, end_s)
        if look.count <= points:
            return look
        times += 1
