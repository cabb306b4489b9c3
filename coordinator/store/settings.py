"""Settings that people change by use: a JSON value for a key. Functions of a connection."""

from typing import Any

from sqlalchemy import Connection, select

from coordinator.store import rows
from coordinator.store.schema import SETTINGS


def put(connection: Connection, key: str, value: Any) -> None:
    """Keep a value in place of the one before."""
    rows.put(connection, SETTINGS, {"key": key, "value": value})


def get(connection: Connection, key: str) -> Any:
    """A value by its key, None where there is none."""
    return connection.execute(select(SETTINGS.c.value).where(SETTINGS.c.key == key)).scalar()
