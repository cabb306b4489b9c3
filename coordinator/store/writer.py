"""Durable writes by one thread: whatever waits when the disk is free goes into one transaction."""

import logging
import queue
import threading
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass, field
from typing import Any, Final, TypeVar

from sqlalchemy import Connection, Engine

from coordinator.store.errors import TROUBLE, StoreError, is_for_all, store_error
from coordinator.store.place import Place

Result = TypeVar("Result")
MAX_WAITING: Final = 10_000
"""Writes that may wait for a disk that hangs: some hours of events, some MB."""
_logger = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class _Write:
    work: Callable[[Connection], Any]
    done: Future[Any] = field(default_factory=Future)


class Writer:
    """Writes in the order of asking; a write is answered after its commit. The engine is its own.

    One that fails takes no other with it: then each gets a transaction of its own. So the work may
    be done twice, of which only the last one counts.
    """

    def __init__(self, engine: Engine, place: Place) -> None:
        self._engine = engine
        self._place = place
        self._queue: queue.SimpleQueue[_Write | None] = queue.SimpleQueue()
        # A disk that hangs must not keep the process from ending.
        self._thread = threading.Thread(target=self._run, name="store-write", daemon=True)
        self._thread.start()

    def submit(self, work: Callable[[Connection], Result]) -> Future[Result]:
        """Do this in the thread; the future fails with StoreError where the disk does."""
        write = _Write(work)
        if (waiting := self._queue.qsize()) < MAX_WAITING:
            self._queue.put(write)
        else:
            write.done.set_exception(
                StoreError(
                    f"{self._place} cannot be written: {waiting} writes wait for "
                    f"{self._place.waits_for} already"
                )
            )
        return write.done

    def close(self, patience_s: float) -> bool:
        """Finish what was asked for and end the thread; whether it ended in time."""
        self._queue.put(None)
        self._thread.join(patience_s)
        return not self._thread.is_alive()

    def _run(self) -> None:
        going_on = True
        while going_on:
            waiting = [self._queue.get()]
            while not self._queue.empty():
                waiting.append(self._queue.get())
            going_on = None not in waiting
            writes = [one for one in waiting if one and one.done.set_running_or_notify_cancel()]
            if writes and not self._commit(writes):
                for write in writes:
                    self._commit([write])
        # However late it is: its connection may keep all others from the database.
        self._engine.dispose()

    def _commit(self, writes: list[_Write]) -> bool:
        """Whether these are done with: committed in one transaction, or told that they failed."""
        try:
            with self._engine.begin() as connection:
                results = [write.work(connection) for write in writes]
        except Exception as error:
            # To wait for a lock once for each would take minutes.
            if len(writes) > 1 and not is_for_all(error):
                return False
            if not isinstance(error, (*TROUBLE, StoreError)):
                _logger.exception("a write to %s broke", self._place)
            known = isinstance(error, TROUBLE)
            for write in writes:
                write.done.set_exception(store_error(self._place, error) if known else error)
            return True
        for write, result in zip(writes, results, strict=True):
            write.done.set_result(result)
        return True
