"""The database in a backup: a consistent copy while a coordinator writes, and a look at a copy.

SQLite's backup API reads all pages within one read transaction; in WAL mode whoever writes is not
kept waiting by that (sqlite.org/backup.html, sqlite.org/wal.html).
"""

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Final
from urllib.parse import quote

from sqlalchemy import Connection, create_engine
from sqlalchemy.exc import SQLAlchemyError
from sqlalchemy.pool import NullPool

from coordinator.backup.errors import BackupError
from coordinator.store.errors import store_error
from coordinator.store.opening import known_revisions, revisions_in

_BUSY_S: Final = 30.0
"""Patience with a program that keeps the file locked for itself."""
_OF_A_DISK: Final = {"SQLITE_FULL": "there is no space left", "SQLITE_IOERR": "a disk fails"}
"""Under the one file or the other: which, SQLite's backup does not tell (rescode.html)."""
_SHUT: Final = ("SQLITE_CANTOPEN", "SQLITE_READONLY")


def copy(source: Path, target: Path) -> None:
    """Copy all that is committed, to a file that is not there yet. Raises BackupError."""
    try:
        with closing(_shared(source)) as database, closing(sqlite3.connect(target)) as copied:
            copied.execute("PRAGMA synchronous = FULL")
            database.backup(copied)
    except sqlite3.Error as error:
        name = getattr(error, "sqlite_errorname", None) or ""
        for code, cause in _OF_A_DISK.items():
            if name.startswith(code):
                raise BackupError(
                    f"no backup is made: {source} cannot be copied to {target}: {cause} ({error})"
                ) from error
        raise BackupError(f"no backup is made: {store_error(source, error)}") from error


def revision_of(copied: Path) -> str | None:
    """The version of a copy's tables, after a look at all of it. Raises BackupError.

    None where it has no tables yet.
    """
    engine = create_engine("sqlite://", creator=lambda: _at_rest(copied), poolclass=NullPool)
    try:
        with engine.connect() as connection:
            return _look(connection)
    except (SQLAlchemyError, sqlite3.Error) as error:
        cause = " ".join(str(getattr(error, "orig", None) or error).split())
        raise BackupError(f"the database is damaged ({cause})") from error
    finally:
        engine.dispose()


def _look(connection: Connection) -> str | None:
    (found,) = connection.exec_driver_sql("PRAGMA integrity_check(1)").one()
    if found != "ok":
        raise BackupError(f"the database is damaged ({' '.join(str(found).split())})")
    kinds = connection.exec_driver_sql("SELECT DISTINCT type FROM sqlite_schema").scalars()
    # Ours has neither views nor triggers, and those of a stranger would run when it is used.
    if foreign := sorted(set(kinds) - {"table", "index"}):
        raise BackupError(f"the database is of another program: it has a {foreign[0]}")
    heads = revisions_in(connection)
    if newer := heads - known_revisions():
        raise BackupError(
            f"the database is of a newer version (revision {', '.join(sorted(newer))}, this "
            f"Unisono knows {max(known_revisions())}): use the Unisono that wrote it, or a newer "
            "one"
        )
    if not heads:
        tables = connection.exec_driver_sql("SELECT name FROM sqlite_schema").scalars().first()
        if tables is not None:
            raise BackupError(f"the database is of another program: it has a table {tables!r}")
        return None
    return ",".join(sorted(heads))


def _shared(path: Path) -> sqlite3.Connection:
    """A database that others may be writing, to be read.

    Opened as if to be written: whoever only reads leaves the index of the write-ahead log behind.
    Where the folder is read-only that index cannot be made; without a log there is nobody that
    writes, and it need not.
    """
    made = sqlite3.connect(f"{_uri(path)}?mode=rw", uri=True, timeout=_BUSY_S)
    try:
        made.execute("PRAGMA query_only = ON")
        made.execute("SELECT 1 FROM sqlite_schema LIMIT 1").fetchall()
    except sqlite3.OperationalError as error:
        made.close()
        log = path.with_name(f"{path.name}-wal")
        if (log.exists() and log.stat().st_size) or not error.sqlite_errorname.startswith(_SHUT):
            raise
        return _at_rest(path)
    return made


def _at_rest(path: Path) -> sqlite3.Connection:
    """A database that nobody writes: nothing is made beside it."""
    return sqlite3.connect(f"{_uri(path)}?mode=ro&immutable=1", uri=True)


def _uri(path: Path) -> str:
    return f"file:{quote(str(path.absolute()))}"
