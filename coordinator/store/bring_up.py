"""What was done of the bring-up of each joint: nothing in it is ever changed. Functions of a
connection.
"""

import json
from typing import Any

from sqlalchemy import Connection, insert, select

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


def of_joint(connection: Connection, joint: str) -> list[dict[str, Any]]:
    """All that was done of a joint, oldest first.

    What is no such row is passed over: then that step is to be done again.
    """
    wanted = select(BRING_UP).where(BRING_UP.c.joint == joint).order_by(BRING_UP.c.id)
    found: list[dict[str, Any]] = []
    for row in connection.execute(wanted).mappings():
        try:
            basis, figures = json.loads(row["basis"]), json.loads(row["figures"])
        except (ValueError, RecursionError, TypeError):
            continue
        if isinstance(basis, dict) and isinstance(figures, dict):
            found.append({**row, "basis": basis, "figures": figures})
    return found
