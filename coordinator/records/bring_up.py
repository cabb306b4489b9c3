"""The bring-up of joints, step by step into the database: each is on the disk before it counts."""

from sqlalchemy import Connection

from coordinator.bringup.progress import Done
from coordinator.bringup.steps import Aspect
from coordinator.store import Store, bring_up


class BringUpKeeper:
    """What was done of each joint. A joint is known by its name, which is its place in the arm."""

    def __init__(self, store: Store) -> None:
        self._store = store

    async def done(self, joint: str) -> tuple[Done, ...]:
        """All of a joint, oldest first. Raises StoreError."""
        rows = await self._store.read(lambda connection: bring_up.of_joint(connection, joint))
        return tuple(
            Done(row["step"], row["utc"], row["who"], row["basis"], row["figures"], row["picture"])
            for row in rows
        )

    async def controllers(self) -> dict[str, str]:
        """By joint, the controller with which something was done of it last. Raises StoreError."""
        rows = await self._store.read(bring_up.newest)
        known = ((joint, basis.get(Aspect.CONTROLLER)) for joint, basis in rows)
        return {joint: one for joint, one in known if isinstance(one, str)}

    async def keep(self, joint: str, one: Done) -> None:
        """Keep this, which counts once this has returned. Raises StoreError."""

        def work(connection: Connection) -> None:
            bring_up.add(
                connection, joint, one.step, one.utc, one.who, dict(one.basis), dict(one.figures),
                one.picture,
            )  # fmt: skip

        await self._store.confirmed(work)
