"""What a year of six joints leaves in the database, and how long its charts take, by each other.

What is older than seconds and minutes are kept is written as the hours and minutes that are left of
it; the newest hours go second by second the way that a coordinator writes them, in batches of ten,
with what is forgotten. One second of it all has a spike, which every chart over it must show.
"""

import itertools
import statistics
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from sqlalchemy import Connection, Engine, func, select

from coordinator.history.cells import Cell, CellKey, Spread, cell_of
from coordinator.history.collector import Collector
from coordinator.history.levels import LEVELS, Look, look_at
from coordinator.history.quantities import Counts, Reading, reading
from coordinator.records.joint_history import BATCH
from coordinator.store import joint_history
from coordinator.store.opening import migrate
from coordinator.store.schema import JOINT_HISTORY
from coordinator.store.sqlite_file import FILE, engine_of, make_file
from tests.bench.figures import ratio, show

NAMES: Final = ("turntable", "shoulder", "elbow", "forearm", "wrist", "tool")
MINUTE_S: Final = 60
HOUR_S: Final = 3_600
DAY_S: Final = 24 * HOUR_S
NOW_S: Final = 1_780_000_000 // DAY_S * DAY_S
POINTS: Final = 400
CHARTS: Final = {"an hour": HOUR_S, "a day": DAY_S, "a month": 30 * DAY_S, "a year": 365 * DAY_S}
SPIKE_C: Final = 99.5
FITTED_S: Final = 60
"""Hops are fitted anew each minute: an arm that works day and night."""
SPIKE_AGO_S: Final = 90


@dataclass(frozen=True, slots=True)
class Past:
    """How much there is, in whole hours: of all, by the minute, and by the second."""

    hours: int = 365 * 24
    minute_hours: int = 35 * 24 + 12
    second_hours: int = 7


@dataclass(slots=True)
class Left:
    """What it came to."""

    rows: dict[int, int] = field(default_factory=dict)
    """By how long a cell is, in s."""
    file_bytes: int = 0
    chart_s: dict[str, float] = field(default_factory=dict)
    """How long each chart took, median, in s."""
    broken: list[str] = field(default_factory=list)

    @property
    def row_bytes(self) -> float:
        """Of the file for each row."""
        return self.file_bytes / max(1, sum(self.rows.values()))


def table(repeats: int, folder: Path) -> list[str]:
    """Write a year, look at it so often and show it; what a chart did not show that it must."""
    past = Past()
    left = measure(past, repeats, folder)
    show(
        f"A year of {len(NAMES)} joints: rows that are left of it, and what the file takes",
        ("of 1 s", "of 1 min", "of 1 h", "file, MB", "bytes a row", "MB with each year"),
        [(
            *(left.rows[level.cell_s] for level in LEVELS), f"{left.file_bytes / 1e6:.1f}",
            f"{left.row_bytes:.0f}", f"{left.row_bytes * len(NAMES) * 8760 / 1e6:.1f}",
        )],
    )  # fmt: skip
    hour_s = left.chart_s["an hour"]
    show(
        f"Charts of one joint in at most {POINTS} stretches: how many times as long as an hour's",
        ("chart", "cells", "stretches", "of an hour's"),
        [
            (name, look.level.cell_s, look.count, ratio(left.chart_s[name], hour_s))
            for name, look in ((name, chart(span_s)) for name, span_s in CHARTS.items())
        ],
        f"Medians of {repeats}, in turns.",
    )
    return left.broken


def measure(past: Past, repeats: int, folder: Path) -> Left:
    """Write that much into a new file in a folder and look at it."""
    path = folder / FILE
    make_file(path)
    engine, left = engine_of(path, writes=True), Left()
    with engine.begin() as connection:
        migrate(connection)
    for cells, name in zip(_batches(past), itertools.cycle(NAMES), strict=False):
        with engine.begin() as connection:
            joint_history.add(connection, cells)
            joint_history.forget(connection, name, max(one.start_s for one in cells))
    with engine.connect() as connection:
        for level in LEVELS:
            wanted = select(func.count()).where(JOINT_HISTORY.c.cell_s == level.cell_s)
            left.rows[level.cell_s] = connection.execute(wanted).scalar_one()
    engine.dispose()
    left.file_bytes = path.stat().st_size
    _look(engine_of(path, writes=False), repeats, left)
    return left


def chart(span_s: int) -> Look:
    """The look of a chart up to now."""
    return look_at(NOW_S - span_s, NOW_S, POINTS, NOW_S)


def _look(engine: Engine, repeats: int, left: Left) -> None:
    took: dict[str, list[float]] = {name: [] for name in CHARTS}
    with engine.connect() as connection:
        for _ in range(repeats):
            for name, span_s in CHARTS.items():
                begun = time.perf_counter()
                found = joint_history.stretches(connection, NAMES[0], chart(span_s))
                took[name].append(time.perf_counter() - begun)
                _judge(name, found, left)
    engine.dispose()
    left.chart_s = {name: statistics.median(values) for name, values in took.items()}


def _judge(name: str, found: list[tuple[int, Cell]], left: Left) -> None:
    warmest = max(cell.spreads[0].greatest for _, cell in found if cell.spreads[0] is not None)
    if warmest != reading(SPIKE_C, *(None,) * 6)[0]:
        left.broken.append(f"the chart of {name} shows {warmest / 100:g} °C, not {SPIKE_C:g} °C")


def _batches(past: Past) -> Iterator[dict[CellKey, Cell]]:
    """Cells in the order in which they are written, oldest first."""
    for ago_h in range(past.hours, past.second_hours, -1):
        start_s = NOW_S - ago_h * HOUR_S
        cells: dict[CellKey, Cell] = {}
        for place, name in enumerate(NAMES):
            minutes = [_minute(start_s + k * MINUTE_S, place) for k in range(60)]
            whole = Cell()
            for cell in minutes:
                whole |= cell
            cells[CellKey(HOUR_S, name, start_s)] = whole
            if ago_h <= past.minute_hours:
                cells |= {
                    CellKey(MINUTE_S, name, start_s + k * MINUTE_S): cell
                    for k, cell in enumerate(minutes)
                }
        yield cells
    collector = Collector()
    for at_s in range(NOW_S - past.second_hours * HOUR_S, NOW_S):
        for place, name in enumerate(NAMES):
            collector.add(name, at_s, cell_of(_second(at_s, place), _did(at_s, 1)))
        if at_s % BATCH == BATCH - 1:
            yield collector.drained()


def _second(at_s: int, place: int) -> Reading:
    if at_s == NOW_S - SPIKE_AGO_S and place == 0:
        return reading(SPIKE_C, 24.0, 8_000, 0.0, 400, None, None)
    middle = _middle(at_s, place)
    return reading(
        middle,
        23.6 + at_s % 7 / 10,
        8_000 + at_s % 900,
        at_s % 3 / 200,
        400 + at_s % 99,
        0.05 + at_s % 13 / 1_000 if at_s % FITTED_S in (0, FITTED_S - 1) else None,
        (at_s % 9 - 4) / 10_000,
    )


def _minute(start_s: int, place: int) -> Cell:
    """Sixty seconds: from the first and the last of them, as far as sizes go."""
    first, last = _second(start_s, place), _second(start_s + 59, place)
    spreads = tuple(
        Spread(min(a, b), max(a, b), 30 * (a + b), 60) if a is not None and b is not None else None
        for a, b in zip(first, last, strict=True)
    )
    return Cell(spreads, _did(start_s, 60))


def _middle(at_s: int, place: int) -> float:
    """Warmer by day, and by how it is loaded."""
    return 30.0 + place + at_s % DAY_S / DAY_S * 20


def _did(at_s: int, for_s: int) -> Counts:
    turns = at_s // HOUR_S % 3 == 0
    return Counts(
        on_us=for_s * 1_000_000,
        moving_us=for_s * 400_000 if turns else 0,
        starts=for_s // 2 if turns else 0,
        reversals=for_s // 3 if turns else 0,
        distance_udeg=for_s * 7_250_000 if turns else 0,
    )


def every_extreme(connection: Connection, joint: str) -> list[Spread | None]:
    """What all cells of each level tell of a joint's temperature, finest first."""
    found = []
    for level in LEVELS:
        whole = Cell()
        begin_s = NOW_S - 400 * DAY_S
        look = Look(level, level.cell_s, begin_s // level.cell_s * level.cell_s, NOW_S + DAY_S)
        for _, cell in joint_history.stretches(connection, joint, look):
            whole |= cell
        found.append(whole.spreads[0])
    return found
