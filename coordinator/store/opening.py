"""Opening the database: whether it is ours, and its tables brought up to date."""

import functools
from pathlib import Path
from typing import Any, Final

from alembic.config import Config
from alembic.runtime.environment import EnvironmentContext
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, inspect

from coordinator.store.errors import StoreError
from coordinator.store.place import Place
from coordinator.store.schema import METADATA

_MIGRATIONS: Final = Path(__file__).parent / "migrations"


def check(connection: Connection, place: Place) -> None:
    """Raise StoreError for a database that is damaged, not ours, or of a newer version."""
    place.require_sound(connection)
    heads, known = revisions_in(connection), known_revisions()
    if newer := heads - known:
        raise StoreError(
            f"{place} is of a newer version (revision {', '.join(sorted(newer))}, this one knows "
            f"{max(known)}): use the version that wrote it, or {place.begin_anew}"
        )
    if not heads and (tables := inspect(connection).get_table_names()):
        raise StoreError(f"{place} is of another program: it has a table {tables[0]!r}")


def revisions_in(connection: Connection) -> set[str]:
    """Which versions a database's tables say they are of; one, or none where none are ours."""
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
