"""Opening the database: its file, how connections behave, and its tables brought up to date."""

import functools
import os
import sqlite3
from pathlib import Path
from typing import Any, Final

from alembic.config import Config
from alembic.runtime.environment import EnvironmentContext
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import URL, Connection, Engine, create_engine, event, inspect

from coordinator.config.data_folder import sync_folder
from coordinator.store.errors import StoreError
from coordinator.store.schema import METADATA

_MIGRATIONS: Final = Path(__file__).parent / "migrations"
_BUSY_S: Final = 5.0
"""Patience with another program that writes to the file, such as an owner's backup."""


def make_file(path: Path) -> None:
    """Make the database's file if there is none, for the owner's eyes only. Raises StoreError."""
    try:
        os.close(os.open(path, os.O_RDWR | os.O_CREAT, 0o600))
        sync_folder(path.parent)
    except OSError as error:
        raise StoreError(f"{path} cannot be opened: {error.strerror}") from error


def engine_of(path: Path, *, writes: bool) -> Engine:
    """Connections to the file, for the one thread that writes or for the one that reads."""
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


def check(connection: Connection, path: Path) -> None:
    """Raise StoreError for a file that is damaged, not ours, or of a newer version."""
    (found,) = connection.exec_driver_sql("PRAGMA quick_check(1)").one()
    if found != "ok":
        raise StoreError(
            f"{path} is damaged ({' '.join(str(found).split())}); put a copy in its place, or move "
            "it away to begin anew"
        )
    heads, known = revisions_in(connection), known_revisions()
    if newer := heads - known:
        raise StoreError(
            f"{path} is of a newer version (revision {', '.join(sorted(newer))}, this one knows "
            f"{max(known)}): use the version that wrote it, or move the file away"
        )
    if not heads and (tables := inspect(connection).get_table_names()):
        raise StoreError(f"{path} is of another program: it has a table {tables[0]!r}")


def revisions_in(connection: Connection) -> set[str]:
    """Which versions a file's tables say they are of; one, or none where there are none of ours."""
    return set(MigrationContext.configure(connection).get_current_heads())


@functools.cache
def known_revisions() -> frozenset[str]:
    """All versions that this program can read."""
    return frozenset(script.revision for script in _scripts().walk_revisions())


def migrate(connection: Connection, revision: str = "head") -> None:
    """Bring the tables up to a revision, in the transaction that the connection is in."""
    scripts = _scripts()

    def steps(current: Any, _context: MigrationContext) -> Any:
        return scripts._upgrade_revs(revision, current)

    with EnvironmentContext(Config(), scripts, fn=steps) as environment:
        environment.configure(connection=connection, target_metadata=METADATA, render_as_batch=True)
        environment.run_migrations()


def _scripts() -> ScriptDirectory:
    return ScriptDirectory(str(_MIGRATIONS))
