"""Reads by one thread, in the order of asking, by a connection that does not wait for writes."""

import queue
import threading
from collections.abc import Callable
from concurrent.futures import Future
from typing import Any, TypeVar

from sqlalchemy import Connection, Engine

from coordinator.store.errors import TROUBLE, store_error
from coordinator.store.place import Place

Result = TypeVar("Result")


class Reader:
    """Reads what is committed.

    Not a pool of `concurrent.futures`: the interpreter waits for those at its end, and a disk that
    hangs must not keep the process from ending.
    """

    def __init__(self, engine: Engine, place: Place) -> None:
        self._engine = engine
        self._place = place
        self._queue: queue.SimpleQueue[tuple[Callable[[Connection], Any], Future[Any]] | None] = (
            queue.SimpleQueue()
        )
        self._thread = threading.Thread(target=self._run, name="store-read", daemon=True)
        self._thread.start()

    def submit(self, work: Callable[[Connection], Result]) -> Future[Result]:
        """Do this in the thread; the future fails with StoreError where the disk does."""
        done: Future[Result] = Future()
        self._queue.put((work, done))
        return done

    def close(self, patience_s: float) -> bool:
        """Finish what was asked for and end the thread; whether it ended in time."""
        self._queue.put(None)
        self._thread.join(patience_s)
        return not self._thread.is_alive()

    def read(self, work: Callable[[Connection], Result]) -> Result:
        """Do this here and now. Raises StoreError."""
        try:
            with self._engine.connect() as connection:
                return work(connection)
        except TROUBLE as error:
            raise store_error(self._place, error) from error

    def _run(self) -> None:
        while (asked := self._queue.get()) is not None:
            work, done = asked
            if not done.set_running_or_notify_cancel():
                continue
            try:
                done.set_result(self.read(work))
            except Exception as error:  # noqa: BLE001 - it is whoever's who asked
                done.set_exception(error)
