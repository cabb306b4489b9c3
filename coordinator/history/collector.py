"""Samples of all joints, gathered in cells of every level until they are written."""

from collections.abc import Mapping
from typing import Final

from coordinator.history.cells import Cell, CellKey
from coordinator.history.levels import LEVELS

FINEST_KEPT_S: Final = 600
"""How much of the finest cells waits for a disk that takes nothing; coarser ones all do."""


class Collector:
    """Cells that are not written yet."""

    def __init__(self) -> None:
        self._cells: dict[CellKey, Cell] = {}
        self._newest_s = 0

    def add(self, joint: str, at_s: int, cell: Cell) -> None:
        """A sample of a joint, taken then."""
        if cell.is_empty:
            return
        self._newest_s = at_s
        for level in LEVELS:
            self._merge(CellKey(level.cell_s, joint, level.start_of(at_s)), cell)

    def drained(self) -> dict[CellKey, Cell]:
        """All that is to be written, which is forgotten here."""
        cells, self._cells = self._cells, {}
        return cells

    def take_back(self, cells: Mapping[CellKey, Cell]) -> None:
        """The disk did not take these: they are to be written with what comes next."""
        for key, cell in cells.items():
            self._merge(key, cell)

    def shed(self) -> int:
        """Forget the oldest of the finest cells where too many wait; how many that were."""
        finest, oldest_s = LEVELS[0].cell_s, self._newest_s - FINEST_KEPT_S
        old = [key for key in self._cells if key.cell_s == finest and key.start_s < oldest_s]
        for key in old:
            del self._cells[key]
        return len(old)

    def _merge(self, key: CellKey, cell: Cell) -> None:
        known = self._cells.get(key)
        self._cells[key] = cell if known is None else known | cell
