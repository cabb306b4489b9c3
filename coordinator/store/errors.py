"""What can be wrong with the database, as one sentence that names it and the cause."""

from typing import Final

from sqlalchemy.exc import DBAPIError, InterfaceError, OperationalError, SQLAlchemyError

from coordinator.config.data_folder import DataFolderError

_DAMAGED: Final = "it is damaged; put a copy in its place, or move it away to begin anew"
_DAMAGED_THERE: Final = "it is damaged; restore it from a copy"
_LOCKED: Final = "another program keeps it locked"
TROUBLE: Final = (SQLAlchemyError, UnicodeDecodeError)
"""What the database raises. The latter is sqlite3's, where what SQLite says of a damaged file holds
bytes of it that are no text."""
_CAUSES: Final = {
    "SQLITE_FULL": "there is no space left on its disk",
    "SQLITE_READONLY": "it or its folder is read-only",
    "SQLITE_PERM": "it is not allowed to be used",
    "SQLITE_CORRUPT": _DAMAGED,
    "SQLITE_NOTADB": _DAMAGED,
    "SQLITE_BUSY": _LOCKED,
    "SQLITE_LOCKED": _LOCKED,
    "SQLITE_IOERR": "its disk fails",
    "SQLITE_CANTOPEN": "it cannot be opened",
    "25006": "it is read-only",
    "28": "its server lets nobody in by that name and password",
    "3D000": "its server has no such database; make it there first",
    "42501": "its server does not let this user do that",
    "53100": "there is no space left on its server's disk",
    "53300": "its server takes no more connections",
    "55P03": _LOCKED,
    "57P": "its server is being stopped or started",
    "58": "its server's disk fails",
    "XX001": _DAMAGED_THERE,
    "XX002": _DAMAGED_THERE,
}
"""By the beginning of SQLite's result codes (sqlite.org/rescode.html) and of PostgreSQL's
(postgresql.org/docs/current/errcodes-appendix.html)."""
_AT_THE_DOOR: Final = {
    "authentication failed": _CAUSES["28"],
    "no password supplied": "its server asks for a password, and none was given",
    "does not exist": "its server has no such database or user",
    "no pg_hba.conf entry": "its server lets nobody in from here by that name",
}
"""By words of a server that lets nobody in, which it tells without a code; in other languages its
own words are all that is told."""


class StoreError(DataFolderError):
    """The database cannot be used; the text is a sentence for its owner."""


class InUseError(StoreError):
    """Another coordinator uses it."""


def store_error(place: object, error: Exception) -> StoreError:
    """What an error of the database there amounts to."""
    cause = getattr(error, "orig", None) or error
    words = " ".join(str(cause).split())
    if isinstance(cause, UnicodeDecodeError):
        return StoreError(f"{place} cannot be used: {_DAMAGED}")
    name = _name(cause)
    for code, sentence in _CAUSES.items():
        if name.startswith(code):
            return StoreError(f"{place} cannot be used: {sentence} ({words})")
    if _is_of_a_server(cause) and not name:
        for said, sentence in _AT_THE_DOOR.items():
            if said in words:
                return StoreError(f"{place} cannot be used: {sentence} ({words})")
    if is_gone(error):
        return StoreError(f"{place} cannot be used: its server does not answer ({words})")
    return StoreError(f"{place} cannot be used: {words}")


def is_gone(error: Exception) -> bool:
    """Whether there is no connection to the server any more, or none could be had."""
    if isinstance(error, DBAPIError) and error.connection_invalidated:
        return True
    cause = getattr(error, "orig", None) or error
    is_lost = isinstance(error, OperationalError | InterfaceError)
    return is_lost and _is_of_a_server(cause) and not _name(cause)


def is_for_all(error: Exception) -> bool:
    """Whether no other write would fare better now: the database is locked, or not to be had.

    Where a server went away in the middle of a commit, nobody knows whether it is done: it must
    not be done anew.
    """
    name = _name(getattr(error, "orig", None) or error)
    is_locked = name.startswith("SQLITE_BUSY") or name == "55P03"
    return is_locked or is_gone(error) or isinstance(error, InUseError)


def _is_of_a_server(cause: BaseException) -> bool:
    return hasattr(cause, "sqlstate")


def _name(cause: BaseException) -> str:
    """The code of what happened, empty where there is none."""
    return getattr(cause, "sqlite_errorname", None) or getattr(cause, "sqlstate", None) or ""
