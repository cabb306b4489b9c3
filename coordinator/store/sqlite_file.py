"""The database as one SQLite file: where it is, how connections to it behave, what it may be."""

import os
import sqlite3
from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar, Final

from sqlalchemy import URL, Connection, Engine, create_engine, event

from coordinator.config.data_folder import sync_folder
from coordinator.store.errors import StoreError

FILE: Final = "unisono.db"
"""In the data folder."""
_BUSY_S: Final = 5.0
"""Patience with another program that writes to the file, such as an owner's backup."""


@dataclass(frozen=True, slots=True)
class SqliteFile:
    """The file at a path."""

    path: Path
    waits_for: ClassVar[str] = "its disk"
    begin_anew: ClassVar[str] = "move the file away"

    def __str__(self) -> str:
        return str(self.path)

    def make(self) -> None:
        """Make it if there is none. Raises StoreError."""
        make_file(self.path)

    def engine(self, *, writes: bool) -> Engine:
        """Connections to it, for the one thread that writes or for the one that reads."""
        return engine_of(self.path, writes=writes)

    def opened(self, connection: Connection) -> None:
        """Its folder's lock, which is lost by no connection, keeps all others from it."""

    def require_sound(self, connection: Connection) -> None:
        """Raise StoreError where it is damaged."""
        (found,) = connection.exec_driver_sql("PRAGMA quick_check(1)").one()
        if found != "ok":
            raise StoreError(
                f"{self} is damaged ({' '.join(str(found).split())}); put a copy in its place, or "
                "move it away to begin anew"
            )


def make_file(path: Path) -> None:
    """Make a file if there is none, for the owner's eyes only. Raises StoreError."""
    try:
        os.close(os.open(path, os.O_RDWR | os.O_CREAT, 0o600))
        sync_folder(path.parent)
    except OSError as error:
        raise StoreError(f"{path} cannot be opened: {error.strerror}") from error


def engine_of(path: Path, *, writes: bool) -> Engine:
    """Connections to a file, for the one thread that writes or for the one that reads."""
    engine = create_engine(
        URL.create("sqlite", database=str(path)), connect_args={"timeout": _BUSY_S}
    )

    def connected(connection: sqlite3.Connection, _record: Any) -> None:
        # sqlite3 would begin no transaction for a change of tables, and one only at the first
        # write elsewhere; `begun` does.
        connection.isolation_level = None
        if writes:
            connection.execute("PRAGMA journal_mode = WAL")
            # A commit is on the disk when it returns, also if the power fails.
            connection.execute("PRAGMA synchronous = FULL")
        else:
            connection.execute("PRAGMA query_only = ON")

    def begun(connection: Connection) -> None:
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    event.listen(engine, "connect", connected)
    event.listen(engine, "begin", begun)
    return engine
