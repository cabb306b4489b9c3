"""Who has accepted the home of which joint, as of which homing. Functions of a connection."""

from sqlalchemy import Connection, select

from coordinator.store import rows
from coordinator.store.schema import ACCEPTED_HOMES
from coordinator.store.utc import utc_now


def add(connection: Connection, joint: str, homing: int, who: str) -> None:
    """Somebody has accepted it; who did so first stays."""
    row = {"joint": joint, "homing": homing, "who": who, "utc": utc_now()}
    rows.put_new(connection, ACCEPTED_HOMES, row)


def of_joint(connection: Connection, joint: str) -> frozenset[int]:
    """The homings as of which somebody has accepted a joint's home."""
    wanted = select(ACCEPTED_HOMES.c.homing).where(ACCEPTED_HOMES.c.joint == joint)
    return frozenset(connection.execute(wanted).scalars())
