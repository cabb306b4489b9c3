"""Who has acknowledged which warning. Functions of a connection."""

from typing import Any

from sqlalchemy import Connection, insert, select

from coordinator.store.schema import ACKNOWLEDGEMENTS
from coordinator.store.utc import utc_now


def add(connection: Connection, warning: str, who: str) -> int:
    """Somebody has acknowledged a warning, told here in words; the id of that."""
    row = {"warning": warning, "who": who, "utc": utc_now()}
    kept = insert(ACKNOWLEDGEMENTS).values(row).returning(ACKNOWLEDGEMENTS.c.id)
    return int(connection.execute(kept).scalar_one())


def every(connection: Connection) -> list[dict[str, Any]]:
    """All acknowledgements, oldest first."""
    rows = connection.execute(select(ACKNOWLEDGEMENTS).order_by(ACKNOWLEDGEMENTS.c.id))
    return [dict(row) for row in rows.mappings()]
