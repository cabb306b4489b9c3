"""Which joints' alarms are shelved, by whom and until when. Functions of a connection."""

from typing import NamedTuple

from sqlalchemy import Connection, delete, select

from coordinator.store import rows
from coordinator.store.schema import SHELVES
from coordinator.store.utc import unix_now_s


class KeptShelf(NamedTuple):
    """One of them, as it is kept."""

    joint: str
    code: str
    who: str
    left_s: int
    """How long it lasts from now on; 0 where its time is over. One that is still to begin was left
    by a clock that somebody has set back: it is over, as each start would find all of it left."""


def put(connection: Connection, joint: str, code: str, who: str, for_s: int) -> None:
    """Somebody shelves a joint's kind; instead of whoever did so before."""
    now_s = unix_now_s()
    row = {"joint": joint, "code": code, "who": who, "since_s": now_s, "until_s": now_s + for_s}
    rows.put(connection, SHELVES, row)


def take(connection: Connection, joint: str, code: str) -> None:
    """Somebody takes it off the shelf."""
    connection.execute(delete(SHELVES).where(SHELVES.c.joint == joint, SHELVES.c.code == code))


def every(connection: Connection) -> list[KeptShelf]:
    """All that nobody took off it and no coordinator saw end, oldest first."""
    now_s = unix_now_s()
    found = []
    for row in connection.execute(select(SHELVES).order_by(SHELVES.c.since_s)):
        left_s = 0 if now_s < row.since_s else max(0, row.until_s - now_s)
        found.append(KeptShelf(row.joint, row.code, row.who, left_s))
    return found
