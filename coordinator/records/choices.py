"""What people chose last, kept for the next time that they are asked."""

import asyncio
import logging
from typing import Any

from coordinator.store import Store, settings

_logger = logging.getLogger(__name__)


class Choices:
    """Values by their keys, in the database."""

    def __init__(self, store: Store) -> None:
        self._store = store

    async def last(self, key: str) -> Any:
        """What people chose last, None where nobody did. Raises StoreError."""
        return await self._store.read(lambda connection: settings.get(connection, key))

    def remember(self, key: str, value: Any) -> None:
        """Remember a choice. Nothing waits for it; one that the disk does not take is logged."""
        written = self._store.write(lambda connection: settings.put(connection, key, value))
        written.add_done_callback(_done)


def _done(written: asyncio.Future[None]) -> None:
    if not written.cancelled() and (error := written.exception()) is not None:
        _logger.warning("a choice is not kept: %s", error)
