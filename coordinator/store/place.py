"""Where the database is: what `Store` asks of it, whichever it is; and which one a folder has."""

from pathlib import Path
from typing import Final, Protocol

from sqlalchemy import Connection, Engine

from coordinator.config.data_folder import write_whole
from coordinator.store.errors import StoreError
from coordinator.store.postgresql import server_at
from coordinator.store.sqlite_file import FILE, SqliteFile

KEPT_AT: Final = "database.url"
"""File in a data folder whose data a server has: where, without user and password."""


class Place(Protocol):
    """One database. As text it is its name in sentences, without any password."""

    @property
    def waits_for(self) -> str:
        """What has not answered where it hangs."""

    @property
    def begin_anew(self) -> str:
        """What its owner does who wants an empty one, a clause."""

    def make(self) -> None:
        """Make it if there is none, where that may be. Raises StoreError."""

    def engine(self, *, writes: bool) -> Engine:
        """Connections to it, for the one thread that writes or for the one that reads.

        No other process writes as long as one that writes is open. Raises StoreError, also when
        one is opened.
        """

    def opened(self, connection: Connection) -> None:
        """Say in it that it was opened, once its tables are as they are now."""

    def require_sound(self, connection: Connection) -> None:
        """Raise StoreError where it is damaged or cannot keep what is written."""


def place_of(folder: Path, database: str | None) -> Place:
    """The database of a data folder: its file, or the one at a URL.

    Raises StoreError where the folder has its data elsewhere: to begin anew must be its owner's
    wish, as homes and all that was taught would be unknown.
    """
    kept_at = elsewhere(folder)
    if database is None:
        if kept_at is not None:
            raise StoreError(
                f"{folder} has its data in {kept_at}, and no database was named: name that one, or "
                f"delete {folder / KEPT_AT} to begin anew in a file"
            )
        return SqliteFile(folder / FILE)
    server = server_at(database)
    if kept_at is not None and kept_at != str(server):
        raise StoreError(
            f"{folder} has its data in {kept_at}, not in {server}: name that one, or delete "
            f"{folder / KEPT_AT} to use this one"
        )
    if kept_at is None and (folder / FILE).exists():
        raise StoreError(
            f"{folder} has its data in {FILE}, of which {server} would know nothing: name no "
            "database, or move that file away to begin anew"
        )
    return server


def elsewhere(folder: Path) -> str | None:
    """Where a data folder has its data, None where that is in its own file. Raises StoreError."""
    try:
        return (folder / KEPT_AT).read_text(encoding="utf-8").strip()
    except FileNotFoundError:
        return None
    except (OSError, UnicodeDecodeError) as error:
        raise StoreError(f"{folder / KEPT_AT} cannot be read: {error}") from error


def note(folder: Path, place: Place) -> None:
    """Write down that a folder's data is at a server, for who looks for it. Raises StoreError."""
    if not isinstance(place, SqliteFile) and elsewhere(folder) is None:
        write_whole(folder / KEPT_AT, f"{place}\n")
