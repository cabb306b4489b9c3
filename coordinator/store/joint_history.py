"""What joints were, in cells of each level, and what they did in all. Functions of a connection.

Cells are put together by the database, and stretches of time are made of them there too: no other
thread waits for Python to do it.
"""

from collections.abc import Mapping
from typing import Any, Final

from sqlalchemy import BigInteger, Connection, and_, case, cast, delete, func, or_, select

from coordinator.history.cells import Cell, CellKey, Spread
from coordinator.history.levels import HOUR, LEVELS, Look
from coordinator.history.quantities import COUNTS, GAUGES, Counts, Gauge
from coordinator.store import rows
from coordinator.store.schema import JOINT_HISTORY

FORGOTTEN_AT_ONCE: Final = 1_000
"""Cells of a joint and level that one write deletes at most: nothing waits long behind it."""
DAY_S: Final = 86_400
_COLUMNS: Final = JOINT_HISTORY.c
_SPREADS: Final = tuple(
    tuple(_COLUMNS[f"{gauge.name}_{part}"] for part in ("least", "greatest", "total", "count"))
    for gauge in GAUGES
)
_COUNTS: Final = tuple(_COLUMNS[name] for name in COUNTS)


def add(connection: Connection, cells: Mapping[CellKey, Cell]) -> None:
    """Put cells together with what is kept of the same stretches."""
    if cells:
        put = _put_together(rows.insert(connection, JOINT_HISTORY))
        connection.execute(put, [_row(key, cell) for key, cell in cells.items()])


def forget(connection: Connection, joint: str, now_s: int) -> None:
    """Delete the finer cells of a joint that are older than they are kept, some at a time.

    What they told is in the coarser ones since they were written, and those of an hour stay.
    """
    for level in LEVELS:
        if level.kept_s is None:
            continue
        of_it = and_(_COLUMNS.cell_s == level.cell_s, _COLUMNS.joint == joint)
        starts = select(_COLUMNS.start_s).where(of_it).order_by(_COLUMNS.start_s)
        oldest_s = connection.execute(starts.limit(1)).scalar()
        if oldest_s is None or oldest_s >= now_s - level.kept_s:
            continue
        before_s = min(now_s - level.kept_s, oldest_s + FORGOTTEN_AT_ONCE * level.cell_s)
        connection.execute(delete(JOINT_HISTORY).where(of_it, _COLUMNS.start_s < before_s))


def stretches(connection: Connection, joint: str, look: Look) -> list[tuple[int, Cell]]:
    """What a look shows of a joint, oldest first: where each stretch begins, Unix time in s.

    Stretches of which nothing is known are left out.
    """
    number = ((_COLUMNS.start_s - look.from_s) // look.width_s).label("number")
    shown = [_shown(*spread) for spread in _SPREADS]
    wanted = (
        select(number, *(one for spread in shown for one in spread), *map(_sum, _COUNTS))
        .where(
            _COLUMNS.cell_s == look.level.cell_s,
            _COLUMNS.joint == joint,
            _COLUMNS.start_s >= look.from_s,
            _COLUMNS.start_s < look.to_s,
        )
        .group_by(number.name)
        .order_by(number)
    )
    return [
        (look.from_s + row[0] * look.width_s, _cell(row[1:])) for row in connection.execute(wanted)
    ]


def in_all(connection: Connection, joint: str) -> tuple[int | None, Counts]:
    """Since when a joint is known, Unix time in s, and what it has done; None before the first."""
    of_it = and_(_COLUMNS.cell_s == HOUR.cell_s, _COLUMNS.joint == joint)
    row = connection.execute(
        select(func.min(_COLUMNS.start_s), *map(_sum, _COUNTS)).where(of_it)
    ).one()
    return row[0], Counts(*(value or 0 for value in row[1:]))


def days(
    connection: Connection, joint: str, gauge: Gauge, from_s: int, to_s: int
) -> list[tuple[int, float]]:
    """The mean of a gauge's readings on each UTC day, in its unit, oldest first: by the number of
    days since 1970. Of hours that begin from one instant to another, Unix time in s; days without a
    reading are left out.
    """
    total, count = (_COLUMNS[f"{gauge.name}_{part}"] for part in ("total", "count"))
    day = (_COLUMNS.start_s // DAY_S).label("day")
    wanted = (
        select(day, _sum(total), _sum(count))
        .where(
            _COLUMNS.cell_s == HOUR.cell_s,
            _COLUMNS.joint == joint,
            _COLUMNS.start_s >= from_s,
            _COLUMNS.start_s <= to_s,
            count > 0,
        )
        .group_by(day.name)
        .order_by(day)
    )
    return [(row[0], row[1] / row[2] / gauge.per_unit) for row in connection.execute(wanted)]


def _shown(least: Any, greatest: Any, total: Any, count: Any) -> tuple[Any, ...]:
    return func.min(least), func.max(greatest), _sum(total), _sum(count)


def _sum(column: Any) -> Any:
    """As a whole number, which is not what PostgreSQL makes of it by itself."""
    return cast(func.sum(column), BigInteger)


def _cell(values: Any) -> Cell:
    spreads = [tuple(values[4 * k : 4 * k + 4]) for k in range(len(GAUGES))]
    counts = values[4 * len(GAUGES) :]
    return Cell(tuple(Spread(*one) if one[3] else None for one in spreads), Counts(*counts))


def _row(key: CellKey, cell: Cell) -> dict[str, object]:
    row: dict[str, object] = {"cell_s": key.cell_s, "joint": key.joint, "start_s": key.start_s}
    for columns, spread in zip(_SPREADS, cell.spreads, strict=True):
        values = (None, None, 0, 0) if spread is None else (
            spread.least, spread.greatest, spread.total, spread.count
        )  # fmt: skip
        row |= {column.name: value for column, value in zip(columns, values, strict=True)}
    return row | {name: getattr(cell.counts, name) for name in COUNTS}


def _put_together(put: Any) -> Any:
    """An insert that puts a cell together with the one that is there."""
    new = put.excluded
    both: dict[str, Any] = {}
    for least, greatest, total, count in _SPREADS:
        for column, is_further in (
            (least, new[least.name] < least), (greatest, new[greatest.name] > greatest)
        ):  # fmt: skip
            # Of two of which one is not known it is the other.
            takes_new = or_(is_further, column.is_(None))
            both[column.name] = case((takes_new, new[column.name]), else_=column)
        for column in (total, count):
            both[column.name] = column + new[column.name]
    both |= {column.name: column + new[column.name] for column in _COUNTS}
    return put.on_conflict_do_update(index_elements=list(JOINT_HISTORY.primary_key), set_=both)
