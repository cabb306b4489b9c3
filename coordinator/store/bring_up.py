"""What was done of the bring-up of each joint: nothing in it is ever changed. Functions of a
connection.
"""

import json
from typing import Any

from sqlalchemy import ColumnElement, Connection, insert, select

from coordinator.store.schema import BRING_UP


def add(
    connection: Connection,
    joint: str,
    step: str,
    utc: str,
    who: str,
    basis: dict[str, str],
    figures: dict[str, Any],
    picture: str | None,
) -> None:
    """Keep that a step was done."""
    row = {
        "joint": joint, "step": step, "utc": utc, "who": who, "basis": json.dumps(basis),
        "figures": json.dumps(figures), "picture": picture,
    }  # fmt: skip
    connection.execute(insert(BRING_UP).values(row))


def of_step(connection: Connection, step: str) -> list[dict[str, Any]]:
    """All that was done of a step of whichever joint, oldest first; as `of_joint`."""
    return _whole(connection, BRING_UP.c.step == step)


def of_joint(connection: Connection, joint: str) -> list[dict[str, Any]]:
    """All that was done of a joint, oldest first.

    What is no such row is passed over: then that step is to be done again.
    """
    return _whole(connection, BRING_UP.c.joint == joint)


def _whole(connection: Connection, which: ColumnElement[bool]) -> list[dict[str, Any]]:
    wanted = select(BRING_UP).where(which).order_by(BRING_UP.c.id)
    found: list[dict[str, Any]] = []
    for row in connection.execute(wanted).mappings():
        basis, figures = _members(row["basis"]), _members(row["figures"])
        if basis is not None and figures is not None:
            found.append({**row, "basis": basis, "figures": figures})
    return found


def _members(text: str) -> dict[str, Any] | None:
    """Of a JSON object; None where it is none."""
    try:
        value = json.loads(text)
    except (ValueError, RecursionError, TypeError):
        return None
    return value if isinstance(value, dict) else None
