"""The database of one data folder, from opening to closing."""

import asyncio
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Final, TypeVar

from sqlalchemy import Connection
from sqlalchemy.exc import SQLAlchemyError

from coordinator.store import homings, old_files, runs
from coordinator.store.errors import StoreError, store_error
from coordinator.store.opening import check, engine_of, make_file, migrate
from coordinator.store.writer import Writer

Result = TypeVar("Result")
FILE: Final = "unisono.db"


class Store:
    """The open database. Work is given as functions of a connection (`coordinator.store.runs`).

    Opening brings the tables up to date and says of runs and homings that were cut short that
    they were.
    Opening waits for the disk, nothing else does. Everything raises StoreError where the disk
    fails. To be closed in any case: it has threads.
    """

    def __init__(self, folder: Path) -> None:
        self.path = folder / FILE
        make_file(self.path)
        self.last_run = self.last_homing = 0
        """Numbers of the newest run and homing when the database was opened."""
        self._writing = engine_of(self.path, writes=True)
        self._reading = engine_of(self.path, writes=False)
        try:
            self._prepare()
        except BaseException:
            self._reading.dispose()
            self._writing.dispose()
            raise
        self._writer = Writer(self._writing, self.path)
        self._reader = ThreadPoolExecutor(1, thread_name_prefix="store-read")
        self._closed = False

    def write(self, work: Callable[[Connection], Result]) -> asyncio.Future[Result]:
        """Write; done once it is committed. It is under way at once, in the order of asking."""
        if self._closed:
            failed: asyncio.Future[Result] = asyncio.get_running_loop().create_future()
            failed.set_exception(self._is_closed())
            return failed
        return asyncio.wrap_future(self._writer.submit(work))

    async def read(self, work: Callable[[Connection], Result]) -> Result:
        """Read what is committed, by a connection that does not wait for writes."""
        if self._closed:
            raise self._is_closed()
        return await asyncio.get_running_loop().run_in_executor(self._reader, self._read, work)

    async def close(self) -> None:
        """Finish what was asked for and close the file."""
        self._closed = True
        await asyncio.to_thread(self._close)

    def _prepare(self) -> None:
        # By the connection that changes nothing: what is not ours is left as it is.
        self._read(lambda connection: check(connection, self.path))
        try:
            with self._writing.begin() as connection:
                self._begin(connection)
        except SQLAlchemyError as error:
            raise store_error(self.path, error) from error
        old_files.put_away(self.path.parent)

    def _begin(self, connection: Connection) -> None:
        migrate(connection)
        old_files.take(connection, self.path.parent)
        runs.close_unfinished(connection)
        homings.close_unfinished(connection)
        self.last_run = runs.last_number(connection)
        self.last_homing = homings.last_number(connection)

    def _read(self, work: Callable[[Connection], Result]) -> Result:
        try:
            with self._reading.connect() as connection:
                return work(connection)
        except SQLAlchemyError as error:
            raise store_error(self.path, error) from error

    def _close(self) -> None:
        self._reader.shutdown()
        self._writer.close()
        self._reading.dispose()
        self._writing.dispose()

    def _is_closed(self) -> StoreError:
        return StoreError(f"{self.path} is closed: the coordinator is ending")
