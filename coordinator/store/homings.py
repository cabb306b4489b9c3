"""Homings with all edges that were found. Functions of a connection."""

import json
import logging
from typing import Any, Final

from sqlalchemy import Connection, Text, func, select, type_coerce

from coordinator.store import rows
from coordinator.store.errors import StoreError
from coordinator.store.schema import HOMINGS
from coordinator.store.utc import utc_now

RUNNING: Final = "running"
_TEXT: Final = type_coerce(HOMINGS.c.result, Text)
"""What is no JSON must not keep the other rows from being read."""
_logger = logging.getLogger(__name__)


def save(connection: Connection, result: dict[str, Any], utc: str) -> None:
    """Keep a homing's result as it is at this time, in place of the one before."""
    ended = None if result["state"] == RUNNING else utc
    row = {"state": result["state"], "ended_utc": ended, "result": result}
    first = {**row, "number": result["number"], "began_utc": utc}
    # Edges may come after the end, which stays when it was.
    row["ended_utc"] = func.coalesce(HOMINGS.c.ended_utc, ended)
    rows.put(connection, HOMINGS, first, row)


def last_number(connection: Connection) -> int:
    """The newest homing's number, 0 if there was none."""
    return connection.execute(select(func.max(HOMINGS.c.number))).scalar() or 0


def load(connection: Connection, number: int) -> dict[str, Any] | None:
    """A homing's result, None if there is none of that number. Raises StoreError for any other."""
    wanted = select(HOMINGS.c.result).where(HOMINGS.c.number == number)
    try:
        row = connection.execute(wanted).one_or_none()
    except (ValueError, RecursionError) as error:
        raise StoreError(f"what the database holds of homing {number} is none: {error}") from error
    if row is None:
        return None
    result: Any = row.result
    if not isinstance(result, dict) or result.get("number") != number or "state" not in result:
        raise StoreError(f"what the database holds of homing {number} is none")
    return result


def newest_of(connection: Connection, joint: str) -> dict[str, Any] | None:
    """What the newest homing of a joint found, and that homing's number; None if none did.

    What is no homing is passed over.
    """
    wanted = (
        select(HOMINGS.c.number, _TEXT)
        .where(_TEXT.contains(json.dumps(joint), autoescape=True))
        .order_by(HOMINGS.c.number.desc())
    )
    # There may be years of them, of which one of the first has it.
    for number, text in connection.execute(wanted.execution_options(yield_per=20)):
        result = _read(number, text)
        joints = result.get("joints") if result is not None else None
        if isinstance(joints, dict) and isinstance(joints.get(joint), dict):
            return {"homing": number, **joints[joint]}
    return None


def newest(connection: Connection, most: int) -> list[tuple[str | None, dict[str, Any]]]:
    """The newest homings that say what they found, with when each ended, oldest first.

    What is no homing is passed over: one bad row must not hide the others.
    """
    wanted = (
        select(HOMINGS.c.number, HOMINGS.c.ended_utc, _TEXT)
        .order_by(HOMINGS.c.number.desc())
        .limit(most)
    )
    found: list[tuple[str | None, dict[str, Any]]] = []
    for number, ended_utc, text in connection.execute(wanted):
        if (result := _read(number, text)) is not None:
            found.append((ended_utc, result))
    return found[::-1]


def close_unfinished(connection: Connection) -> list[str]:
    """Say of every homing that was cut short that it was; a sentence of each, oldest first."""
    told = []
    wanted = select(HOMINGS.c.number).where(HOMINGS.c.state == RUNNING).order_by(HOMINGS.c.number)
    for number in connection.execute(wanted).scalars().all():
        try:
            result = load(connection, number)
        except StoreError as error:
            # One bad homing must not keep the arm from being used.
            _logger.warning("%s", error)
            continue
        message = "the coordinator ended before this homing did, or before it could write its end"
        cut = {**(result or {}), "state": "failed", "message": message, "current": None}
        save(connection, cut, utc_now())
        told.append(f"homing {number}: {message}")
    return told


def _read(number: int, text: Any) -> dict[str, Any] | None:
    """A row's result, None where it is none of that homing."""
    try:
        result = json.loads(text)
    except (ValueError, RecursionError, TypeError):
        return None
    return result if isinstance(result, dict) and result.get("number") == number else None
