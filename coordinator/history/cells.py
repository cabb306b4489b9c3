"""A stretch of time of one joint in a few numbers. Cells that are put together lose nothing that a
cell tells: no minimum, no maximum, no sum.
"""

from dataclasses import dataclass

from coordinator.history.quantities import GAUGES, NOTHING, Counts, Reading


@dataclass(frozen=True, slots=True)
class Spread:
    """What the readings of a gauge were, as they are kept (`Gauge.per_unit`)."""

    least: int
    greatest: int
    total: int
    count: int
    """How many readings, at least one."""

    def __or__(self, other: "Spread") -> "Spread":
        return Spread(
            min(self.least, other.least),
            max(self.greatest, other.greatest),
            self.total + other.total,
            self.count + other.count,
        )


@dataclass(frozen=True, slots=True)
class Cell:
    """One stretch: a spread for each gauge, None where nothing was known of it; and counts."""

    spreads: tuple[Spread | None, ...] = (None,) * len(GAUGES)
    counts: Counts = NOTHING

    def __or__(self, other: "Cell") -> "Cell":
        pairs = zip(self.spreads, other.spreads, strict=True)
        spreads = tuple(a | b if a and b else a or b for a, b in pairs)
        return Cell(spreads, self.counts + other.counts)

    @property
    def is_empty(self) -> bool:
        """Whether it tells nothing."""
        return self == Cell()


@dataclass(frozen=True, slots=True)
class CellKey:
    """Of whom and when a cell is."""

    cell_s: int
    """How long it is."""
    joint: str
    start_s: int
    """A multiple of its length."""


def cell_of(read: Reading | None, counts: Counts) -> Cell:
    """One reading, if there is one, and what was counted since the one before."""
    if read is None:
        return Cell(counts=counts)
    spreads = (None if value is None else Spread(value, value, value, 1) for value in read)
    return Cell(tuple(spreads), counts)


def spread_of(place: int, spread: Spread | None) -> Cell:
    """What a gauge was, and nothing else; `place` is its own among the gauges."""
    return Cell(tuple(spread if one == place else None for one in range(len(GAUGES))))
