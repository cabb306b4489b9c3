"""The bring-up of joints, step by step into the database: each is on the disk before it counts."""

from collections import defaultdict
from typing import Any

from sqlalchemy import Connection

from coordinator.bringup.progress import Done, against
from coordinator.bringup.steps import IDENTIFIED, Aspect
from coordinator.store import Store, bring_up


class BringUpKeeper:
    """What was done of each joint. A joint is known by its name, which is its place in the arm."""

    def __init__(self, store: Store) -> None:
        self._store = store

    async def done(self, joint: str) -> tuple[Done, ...]:
        """All of a joint, oldest first. Raises StoreError."""
        rows = await self._store.read(lambda connection: bring_up.of_joint(connection, joint))
        return tuple(_done(row) for row in rows)

    async def identified(self) -> dict[str, list[str]]:
        """By joint, the controllers with which it was identified, oldest first; without what was
        seen against it. Raises StoreError.
        """
        rows = await self._store.read(lambda connection: bring_up.of_step(connection, IDENTIFIED))
        found: defaultdict[str, list[str]] = defaultdict(list)
        for row in rows:
            one = _done(row)
            controller = one.basis.get(Aspect.CONTROLLER)
            if against(one) is None and controller is not None:
                found[row["joint"]].append(controller)
        return dict(found)

    async def keep(self, joint: str, one: Done) -> None:
        """Keep this, which counts once this has returned. Raises StoreError."""

        def work(connection: Connection) -> None:
            bring_up.add(
                connection, joint, one.step, one.utc, one.who, dict(one.basis), dict(one.figures),
                one.picture,
            )  # fmt: skip

        await self._store.confirmed(work)


def _done(row: dict[str, Any]) -> Done:
    return Done(row["step"], row["utc"], row["who"], row["basis"], row["figures"], row["picture"])
