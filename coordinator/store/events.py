"""The journal: what happened and what was commanded. Functions of a connection."""

from typing import Any, Final

from sqlalchemy import Connection, insert, select

from coordinator.store.schema import EVENTS

PLAY: Final = "command-play"
"""Code of the line for a run that begins. Its message ends in the run's number."""
SESSION: Final = "coordinator-started"
"""Code of the first line of a coordinator, with which arm time begins anew."""


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


def of_run(
    connection: Connection, run: int, until_us: int | None, limit: int
) -> list[dict[str, Any]] | None:
    """At most `limit` lines from a run's command on, oldest first; None where that is not known.

    Up to an instant of arm time if any, and in any case up to the next run or coordinator.
    """
    begins = select(EVENTS.c.id).where(
        EVENTS.c.code == PLAY, EVENTS.c.message.endswith(f", run {run}")
    )
    first = connection.execute(begins.order_by(EVENTS.c.id.desc()).limit(1)).scalar()
    if first is None:
        return None
    ends = select(EVENTS.c.id).where(EVENTS.c.id > first, EVENTS.c.code.in_((PLAY, SESSION)))
    next_id = connection.execute(ends.order_by(EVENTS.c.id).limit(1)).scalar()
    wanted = select(EVENTS).where(EVENTS.c.id >= first, EVENTS.c.detail.is_(False))
    if next_id is not None:
        wanted = wanted.where(EVENTS.c.id < next_id)
    if until_us is not None:
        wanted = wanted.where(EVENTS.c.at_us <= until_us)
    found = connection.execute(wanted.order_by(EVENTS.c.id).limit(limit)).mappings()
    return [dict(row) for row in found]
