"""Homings, into the database as they go, with all edges. Nothing waits for it."""

import asyncio
import logging
from collections.abc import Mapping
from typing import Any

from coordinator.core.homing import HomingSequence
from coordinator.store import Store, homings
from coordinator.store.utc import utc_now

_logger = logging.getLogger(__name__)


class HomingKeeper:
    """Keeps the homings in `live`, and knows those in the database. Belongs to one event loop."""

    def __init__(self, store: Store, live: Mapping[int, HomingSequence]) -> None:
        self._store = store
        self._live = live
        self._seen: tuple[int, str, int] | None = None
        """Number, state, and joints that are done, as they were written last."""

    def look(self, homing: HomingSequence | None) -> None:
        """Write the newest homing if there is something new in it."""
        if homing is None:
            return
        seen = homing.number, homing.state.value, len(homing.results)
        if seen == self._seen:
            return
        self._seen = seen
        result, utc = homing.to_json(), utc_now()
        written = self._store.write(lambda connection: homings.save(connection, result, utc))
        written.add_done_callback(lambda done: _done(homing.number, done))

    async def homing(self, number: int) -> dict[str, Any] | None:
        """How a homing goes or went, None if there was none of that number. Raises StoreError."""
        live = self._live.get(number)
        if live is not None:
            return live.to_json()
        return await self._store.read(lambda connection: homings.load(connection, number))


def _done(number: int, written: asyncio.Future[None]) -> None:
    error = None if written.cancelled() else written.exception()
    if error is not None:
        _logger.error("homing %d is not kept: %s", number, error)
