"""Alarms that nobody has seen, whether they stand or are over. Functions of a connection."""

from typing import NamedTuple

from sqlalchemy import Connection, delete, select

from coordinator.store import rows
from coordinator.store.schema import UNSEEN_ALARMS


class KeptAlarm(NamedTuple):
    """One of them, as it is kept."""

    joint: str
    code: str
    message: str
    since_s: int
    """Unix time."""


def put(connection: Connection, one: KeptAlarm) -> None:
    """Nobody has seen it; instead of what was kept of that joint's kind before."""
    rows.put(connection, UNSEEN_ALARMS, one._asdict())


def take(connection: Connection, joint: str, code: str) -> None:
    """Nothing is left to be seen of a joint's kind."""
    columns = UNSEEN_ALARMS.c
    connection.execute(delete(UNSEEN_ALARMS).where(columns.joint == joint, columns.code == code))


def every(connection: Connection) -> list[KeptAlarm]:
    """All of them, oldest first."""
    oldest = select(UNSEEN_ALARMS).order_by(UNSEEN_ALARMS.c.since_s)
    return [KeptAlarm(*row) for row in connection.execute(oldest)]
