"""The journal: what happened and what was commanded. Functions of a connection."""

from typing import Any

from sqlalchemy import Connection, insert, select

from coordinator.store.schema import EVENTS


def add(
    connection: Connection,
    *,
    utc: str,
    at_us: int,
    level: str,
    code: str,
    message: str,
    joint: str | None = None,
    who: str | None = None,
    detail: bool = False,
) -> int:
    """Keep an event; its id, which grows with time. `at_us` is arm time."""
    row = {
        "utc": utc, "at_us": at_us, "level": level, "code": code, "message": message,
        "joint": joint, "who": who, "detail": detail,
    }  # fmt: skip
    kept = insert(EVENTS).values(row).returning(EVENTS.c.id)
    return int(connection.execute(kept).scalar_one())


def newest(
    connection: Connection, before: int | None, limit: int, *, details: bool = False
) -> list[dict[str, Any]]:
    """At most `limit` events, newest first, of those before an id if one is given.

    One line for one thing that happened; with `details` also their parts.
    """
    wanted = select(EVENTS).order_by(EVENTS.c.id.desc()).limit(limit)
    if not details:
        wanted = wanted.where(EVENTS.c.detail.is_(False))
    if before is not None:
        wanted = wanted.where(EVENTS.c.id < before)
    return [dict(row) for row in connection.execute(wanted).mappings()]
