"""What can be wrong with the database, as one sentence that names the file and the cause."""

from pathlib import Path
from typing import Final

from sqlalchemy.exc import SQLAlchemyError

from coordinator.config.data_folder import DataFolderError

_DAMAGED: Final = "it is damaged; put a copy in its place, or move it away to begin anew"
TROUBLE: Final = (SQLAlchemyError, UnicodeDecodeError)
"""What the database raises. The latter is sqlite3's, where what SQLite says of a damaged file holds
bytes of it that are no text."""
_CAUSES: Final = {
    "SQLITE_FULL": "there is no space left on its disk",
    "SQLITE_READONLY": "it or its folder is read-only",
    "SQLITE_PERM": "it is not allowed to be used",
    "SQLITE_CORRUPT": _DAMAGED,
    "SQLITE_NOTADB": _DAMAGED,
    "SQLITE_BUSY": "another program keeps it locked",
    "SQLITE_LOCKED": "another program keeps it locked",
    "SQLITE_IOERR": "its disk fails",
    "SQLITE_CANTOPEN": "it cannot be opened",
}
"""By the beginning of SQLite's result codes (sqlite.org/rescode.html)."""


class StoreError(DataFolderError):
    """The database cannot be used; the text is a sentence for its owner."""


def store_error(path: Path, error: Exception) -> StoreError:
    """What an error of the database amounts to."""
    cause = getattr(error, "orig", None) or error
    if isinstance(cause, UnicodeDecodeError):
        return StoreError(f"{path} cannot be used: {_DAMAGED}")
    name = _name(cause)
    for code, sentence in _CAUSES.items():
        if name.startswith(code):
            return StoreError(f"{path} cannot be used: {sentence} ({cause})")
    return StoreError(f"{path} cannot be used: {' '.join(str(cause).split())}")


def is_locked(error: Exception) -> bool:
    """Whether another program kept the file locked for longer than one waits for it."""
    return _name(getattr(error, "orig", None) or error).startswith("SQLITE_BUSY")


def _name(cause: Exception) -> str:
    return getattr(cause, "sqlite_errorname", None) or ""
