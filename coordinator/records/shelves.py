"""Alarms that somebody shelved, on the disk: a restart brings none of them back before its time."""

import logging
from collections.abc import Collection
from typing import NamedTuple

from coordinator.health.kinds import BY_CODE
from coordinator.health.shelf_time import SHELF_MOST_S
from coordinator.health.warnings import Kind
from coordinator.store import Store, shelves

_logger = logging.getLogger(__name__)


class LeftShelf(NamedTuple):
    """What is left of the time of one from before a restart."""

    joint: str
    kind: Kind
    who: str
    left_s: int


class ShelfKeeper:
    """Keeps what is shelved. Every method raises StoreError."""

    def __init__(self, store: Store) -> None:
        self._store = store

    async def left(self, joints: Collection[str]) -> list[LeftShelf]:
        """Those of these joints whose time is not over, and that may be shelved."""
        found = []
        for one in await self._store.read(shelves.left):
            kind = BY_CODE.get(one.code)
            if one.joint not in joints or kind is None or not kind.may_be_shelved:
                _logger.warning("%s: %s is shelved no more: there is none", one.joint, one.code)
                continue
            found.append(LeftShelf(one.joint, kind, one.who, min(one.left_s, SHELF_MOST_S)))
        return found

    async def put(self, joint: str, kind: Kind, who: str, for_s: int) -> None:
        """Somebody shelves a joint's kind."""
        await self._store.confirmed(
            lambda connection: shelves.put(connection, joint, kind.code, who, for_s)
        )

    async def take(self, joint: str, kind: Kind) -> None:
        """Somebody takes it off the shelf."""
        await self._store.confirmed(lambda connection: shelves.take(connection, joint, kind.code))
