"""Samples of all joints, gathered in cells of every level until they are written."""

from collections.abc import Mapping
from typing import Final

from coordinator.history.cells import Cell, CellKey
from coordinator.history.levels import LEVELS

MOST_WAITING: Final = 600
"""Cells of each joint and level that wait for a disk that takes nothing: ten minutes by the second,
ten hours by the minute, 25 days by the hour."""


class Collector:
    """Cells that are not written yet: of each joint and level the `most` that came last."""

    def __init__(self, most: int = MOST_WAITING) -> None:
        self.gap: tuple[int, int] | None = None
        """Between when and when cells were given up since it was told last, whichever of them:
        those of other joints or levels, or between two times that the disk took nothing, may be
        kept."""
        self._most = most
        self._waiting: dict[tuple[int, str], dict[int, Cell]] = {}
        """By length and joint, each by its beginning, in the order in which they came."""

    def add(self, joint: str, at_s: int, cell: Cell) -> None:
        """A sample of a joint, taken then."""
        if cell.is_empty:
            return
        for level in LEVELS:
            self._merge(CellKey(level.cell_s, joint, level.start_of(at_s)), cell)

    def drained(self) -> dict[CellKey, Cell]:
        """All that is to be written, which is forgotten here."""
        waiting, self._waiting = self._waiting, {}
        return {
            CellKey(cell_s, joint, start_s): cell
            for (cell_s, joint), cells in waiting.items()
            for start_s, cell in cells.items()
        }

    def take_back(self, cells: Mapping[CellKey, Cell]) -> None:
        """The disk did not take these: they are to be written with what came meanwhile."""
        later = self.drained()
        for older_first in (cells, later):
            for key, cell in older_first.items():
                self._merge(key, cell)

    def gap_told(self) -> tuple[int, int] | None:
        """The gap, which is told by this."""
        gap, self.gap = self.gap, None
        return gap

    def _merge(self, key: CellKey, cell: Cell) -> None:
        cells = self._waiting.setdefault((key.cell_s, key.joint), {})
        known = cells.get(key.start_s)
        cells[key.start_s] = cell if known is None else known | cell
        if len(cells) > self._most:
            oldest_s = next(iter(cells))
            del cells[oldest_s]
            from_s, to_s = self.gap or (oldest_s, oldest_s)
            self.gap = min(from_s, oldest_s), max(to_s, oldest_s + key.cell_s)
