"""The database of one data folder, from opening to closing: its file, or one at a server."""

import asyncio
import logging
import time
from collections.abc import Callable
from pathlib import Path
from typing import Final, TypeVar

from sqlalchemy import Connection

from coordinator.store import homings, old_files, runs
from coordinator.store.errors import TROUBLE, StoreError, store_error
from coordinator.store.opening import check, migrate
from coordinator.store.place import note, place_of
from coordinator.store.reader import Reader
from coordinator.store.writer import Writer

Result = TypeVar("Result")
DISK_S: Final = 10.0
"""Patience with a disk or server: twice that with another program that writes to the file."""
_logger = logging.getLogger(__name__)


class Store:
    """The open database. Work is given as functions of a connection (`coordinator.store.runs`).

    Opening brings the tables up to date and says of runs and homings that were cut short that
    they were. `database` is the URL of one at a PostgreSQL server, None for the folder's own file.
    Opening waits for the disk, nothing else does for longer than `disk_s`. Everything raises
    StoreError where the disk fails. To be closed in any case: it has threads.
    """

    def __init__(self, folder: Path, disk_s: float = DISK_S, database: str | None = None) -> None:
        self.place = place_of(folder, database)
        self._folder = folder
        self._disk_s = disk_s
        self.place.make()
        self.last_run = self.last_homing = 0
        """Numbers of the newest run and homing when the database was opened."""
        self.cut_short: list[str] = []
        """Runs and homings whose end an earlier coordinator did not write, a sentence each."""
        self._writing = self.place.engine(writes=True)
        self._reading = self.place.engine(writes=False)
        self._reader = Reader(self._reading, self.place)
        try:
            self._prepare()
        except BaseException:
            self._reader.close(disk_s)
            self._reading.dispose()
            self._writing.dispose()
            raise
        self._writer = Writer(self._writing, self.place)
        self._closed = False

    def write(self, work: Callable[[Connection], Result]) -> asyncio.Future[Result]:
        """Write; done once it is committed. It is under way at once, in the order of asking."""
        if self._closed:
            failed: asyncio.Future[Result] = asyncio.get_running_loop().create_future()
            failed.set_exception(self._is_closed())
            return failed
        return asyncio.wrap_future(self._writer.submit(work))

    async def confirmed(self, work: Callable[[Connection], Result]) -> Result:
        """Write, and wait for its commit, but not for ever.

        After the StoreError of a disk that is too slow it may still be written.
        """
        return await self._in_time(self.write(work))

    async def read(self, work: Callable[[Connection], Result]) -> Result:
        """Read what is committed, by a connection that does not wait for writes."""
        if self._closed:
            raise self._is_closed()
        return await self._in_time(asyncio.wrap_future(self._reader.submit(work)))

    async def close(self, patience_s: float | None = None) -> None:
        """Finish what was asked for, as far as the disk does in time, and close the file."""
        self._closed = True
        await asyncio.to_thread(self._close, self._disk_s if patience_s is None else patience_s)

    async def _in_time(self, asked: asyncio.Future[Result]) -> Result:
        try:
            return await asyncio.wait_for(asked, self._disk_s)
        except TimeoutError as error:
            raise StoreError(
                f"{self.place} cannot be used: {self.place.waits_for} has not answered for "
                f"{self._disk_s:g} s"
            ) from error

    def _prepare(self) -> None:
        # By the connection that changes nothing: what is not ours is left as it is.
        self._reader.read(lambda connection: check(connection, self.place))
        try:
            with self._writing.begin() as connection:
                self._begin(connection)
        except TROUBLE as error:
            raise store_error(self.place, error) from error
        note(self._folder, self.place)
        old_files.put_away(self._folder)

    def _begin(self, connection: Connection) -> None:
        migrate(connection)
        self.place.opened(connection)
        old_files.take(connection, self._folder)
        self.cut_short = [
            *runs.close_unfinished(connection), *homings.close_unfinished(connection)
        ]  # fmt: skip
        self.last_run = runs.last_number(connection)
        self.last_homing = homings.last_number(connection)

    def _close(self, patience_s: float) -> None:
        begun_s = time.monotonic()
        has_written = self._writer.close(patience_s)
        has_read = self._reader.close(max(0.0, begun_s + patience_s - time.monotonic()))
        if not (has_written and has_read):
            _logger.error(
                "%s has not answered: what waits for it is not %s",
                self.place,
                "read" if has_written else "written",
            )
        self._reading.dispose()

    def _is_closed(self) -> StoreError:
        return StoreError(f"{self.place} is closed: the coordinator is ending")
