"""What was taught, and every change of it. Functions of a connection.

What holds now is one row, written in the transaction of the change that made it so. The changes
form a line that may fork: a change that was taken back stays, and so does what followed it.
"""

from collections.abc import Collection
from dataclasses import dataclass, field
from typing import Annotated, Any, Final

import orjson
from pydantic import Field, TypeAdapter, ValidationError
from sqlalchemy import Connection, Integer, Select, cast, func, insert, select

from coordinator.store import rows
from coordinator.store.errors import StoreError
from coordinator.store.schema import TAUGHT, TAUGHT_CHANGES
from coordinator.store.utc import utc_now
from coordinator.teaching.changes import Change, Draft, Step
from coordinator.teaching.taught import Taught

_TAUGHT: Final = TypeAdapter(Taught)
_STEPS: Final[TypeAdapter[Change]] = TypeAdapter(
    tuple[Annotated[Step, Field(discriminator="type")], ...]
)
_COLUMNS: Final = TAUGHT_CHANGES.c


@dataclass(frozen=True, slots=True)
class Kept:
    """What holds now."""

    revision: int = 0
    """Grows with every change, undo and redo."""
    head: int | None = None
    """The change that was made last, None before the first."""
    next_id: int = 1
    """No waypoint, sequence or program ever had this number or a higher one."""
    taught: Taught = field(default_factory=Taught)


@dataclass(frozen=True, slots=True)
class KeptChange:
    """A change as people see it."""

    id: int
    parent: int | None
    """The change before it."""
    utc: str
    who: str
    words: str
    sequences: tuple[int, ...]
    """Sequences and programs that it is about, sequences also by a waypoint that they visit."""


def load(connection: Connection) -> Kept:
    """What holds now. Raises StoreError where the database holds something else."""
    row = connection.execute(select(TAUGHT)).one_or_none()
    if row is None:
        return Kept()
    try:
        taught = _TAUGHT.validate_json(row.content)
    except ValidationError as error:
        raise StoreError(f"what the database holds as taught cannot be read: {error}") from error
    return Kept(row.revision, row.head, row.next_id, taught)


def put(connection: Connection, before: int, kept: Kept) -> None:
    """Keep what holds now in place of a revision. Raises StoreError where that is not the last."""
    now = connection.execute(select(TAUGHT.c.revision)).scalar() or 0
    if now != before:
        raise StoreError(f"what was taught is at revision {now}, not {before}: nothing is changed")
    row = {
        "id": 1,
        "revision": kept.revision,
        "head": kept.head,
        "next_id": kept.next_id,
        "content": orjson.dumps(kept.taught, option=orjson.OPT_NON_STR_KEYS).decode(),
    }
    rows.put(connection, TAUGHT, row)


def add(
    connection: Connection,
    parent: int | None,
    change: Change,
    *,
    who: str,
    words: str,
    sequences: list[int],
) -> int:
    """Keep a change that follows another; its id."""
    row = {
        "parent": parent, "utc": utc_now(), "who": who, "words": words, "sequences": sequences,
        "steps": orjson.dumps(change).decode(),
    }  # fmt: skip
    kept = insert(TAUGHT_CHANGES).values(row).returning(_COLUMNS.id)
    return int(connection.execute(kept).scalar_one())


def change(connection: Connection, number: int) -> tuple[KeptChange, Change]:
    """A change and its steps. Raises StoreError where it cannot be read."""
    row = connection.execute(_told().add_columns(_COLUMNS.steps).where(_COLUMNS.id == number)).one()
    return _change(row), _steps(row)


def next_of(connection: Connection, head: int | None) -> int | None:
    """The change that was made last after another, and then taken back; None if there is none."""
    newest = select(func.max(_COLUMNS.id)).where(_COLUMNS.parent.is_not_distinct_from(head))
    return connection.execute(newest).scalar()


def words_of(connection: Connection, number: int | None) -> str | None:
    """What a change did, a clause."""
    return connection.execute(select(_COLUMNS.words).where(_COLUMNS.id == number)).scalar()


def newest(
    connection: Connection, before: int | None, limit: int, about: Collection[int] | None
) -> list[KeptChange]:
    """At most `limit` changes, newest first, before one of an id, about any of these if named."""
    wanted = _told().order_by(_COLUMNS.id.desc()).limit(limit)
    if before is not None:
        wanted = wanted.where(_COLUMNS.id < before)
    if about is not None:
        each = rows.members_of(connection, _COLUMNS.sequences)
        wanted = wanted.where(select(1).where(cast(each.c.value, Integer).in_(about)).exists())
    return [_change(row) for row in connection.execute(wanted)]


def as_after(connection: Connection, number: int) -> Taught | None:
    """What was taught once a change had been made; None where there is no such change."""
    columns = (_COLUMNS.id, _COLUMNS.parent, _COLUMNS.steps)
    found = connection.execute(select(*columns).where(_COLUMNS.id <= number))
    by_id = {row.id: row for row in found}
    line: list[Any] = []
    at: int | None = number
    while at is not None:
        if at not in by_id:
            return None
        line.append(by_id[at])
        at = by_id[at].parent
    draft = Draft(Taught())
    for row in reversed(line):
        for step in _steps(row):
            draft.apply(step)
    return draft.taught


def _told() -> Select[Any]:
    return select(
        _COLUMNS.id, _COLUMNS.parent, _COLUMNS.utc, _COLUMNS.who, _COLUMNS.words, _COLUMNS.sequences
    )


def _change(row: Any) -> KeptChange:
    return KeptChange(row.id, row.parent, row.utc, row.who, row.words, tuple(row.sequences))


def _steps(row: Any) -> Change:
    try:
        return _STEPS.validate_json(row.steps)
    except ValidationError as error:
        message = f"what the database holds of change {row.id} cannot be read: {error}"
        raise StoreError(message) from error
