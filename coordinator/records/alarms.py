"""Alarms on the disk: a restart brings none from its shelf, and lets none go that nobody saw."""

import asyncio
import logging
from collections.abc import Collection
from typing import NamedTuple

from sqlalchemy import Connection

from coordinator.health.alarm_kind import Kind
from coordinator.health.kinds import BY_CODE
from coordinator.health.link import LOST
from coordinator.health.shelf_time import SHELF_MOST_S
from coordinator.health.warnings import Kept
from coordinator.records.trouble_log import TroubleLog
from coordinator.store import Store, shelves, unseen_alarms
from coordinator.store.unseen_alarms import KeptAlarm
from coordinator.store.utc import unix_now_s
from protocol.constants import US

_logger = logging.getLogger(__name__)


class LeftShelf(NamedTuple):
    """One from before a restart."""

    joint: str
    kind: Kind
    who: str
    left_s: int
    """0 where its time was over meanwhile."""


class LeftAlarm(NamedTuple):
    """One that nobody had seen before a restart."""

    joint: str
    kind: Kind
    message: str
    ago_us: int
    """Since when, by the time of day."""


class AlarmKeeper:
    """Keeps what of alarms must outlive a restart. Belongs to one event loop."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._trouble = TroubleLog(_logger)

    async def shelves(self, joints: Collection[str]) -> list[LeftShelf]:
        """What is shelved of these joints and may be. Raises StoreError."""
        found = []
        for one in await self._store.read(shelves.every):
            kind = BY_CODE.get(one.code)
            if one.joint not in joints or kind is None or not kind.may_be_shelved:
                _logger.warning("%s: %s is shelved no more: there is none", one.joint, one.code)
                continue
            found.append(LeftShelf(one.joint, kind, one.who, min(one.left_s, SHELF_MOST_S)))
        return found

    async def unseen(self, joints: Collection[str]) -> list[LeftAlarm]:
        """What nobody had seen of these joints, oldest first. Raises StoreError."""
        now_s = unix_now_s()
        return [
            LeftAlarm(one.joint, kind, one.message, max(0, now_s - one.since_s) * US)
            for one in await self._store.read(unseen_alarms.every)
            if one.joint in joints and (kind := BY_CODE.get(one.code)) is not None
        ]

    async def put_on_shelf(self, joint: str, kind: Kind, who: str, for_s: int) -> None:
        """Somebody shelves a joint's kind. Raises StoreError."""
        await self._store.confirmed(
            lambda connection: shelves.put(connection, joint, kind.code, who, for_s)
        )

    async def take_off_shelf(self, joint: str, kind: Kind) -> None:
        """Somebody takes it off the shelf. Raises StoreError."""
        await self._store.confirmed(lambda connection: shelves.take(connection, joint, kind.code))

    def forget_shelf(self, joint: str, kind: Kind) -> None:
        """Its time was over before the coordinator began. Nobody waits for it."""
        taken = self._store.write(lambda connection: shelves.take(connection, joint, kind.code))
        taken.add_done_callback(self._done)

    def keep(self, one: Kept, now_us: int) -> None:
        """Something changed of which a restart must know. Nobody waits for it; what the disk does
        not take is in the log.
        """
        unseen, joint, code = one.unseen, one.joint, one.kind.code
        if one.kind is LOST and unseen is not None and unseen.stands:
            # An arm that is switched off before its coordinator would be as many alarms each day;
            # that a joint is not heard, whoever looks after a restart sees of the joint.
            unseen = None
        row: KeptAlarm | None = None
        if unseen is not None:
            since_s = unix_now_s() - (now_us - unseen.since_us) // US
            row = KeptAlarm(joint, code, unseen.message, since_s)

        def work(connection: Connection) -> None:
            if row is None:
                unseen_alarms.take(connection, joint, code)
            else:
                unseen_alarms.put(connection, row)
            if one.off_the_shelf:
                shelves.take(connection, joint, code)

        self._store.write(work).add_done_callback(self._done)

    def _done(self, written: asyncio.Future[None]) -> None:
        error = None if written.cancelled() else written.exception()
        if error is None:
            self._trouble.over()
            return
        self._trouble.add(str(error), f"that an alarm was seen, or not, is not kept: {error}")
