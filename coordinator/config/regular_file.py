"""A file that somebody names, read without waiting for what may never come."""

import errno
import os
import stat
from collections.abc import Callable
from pathlib import Path
from typing import Final

_OTHERS: Final[tuple[tuple[Callable[[int], bool], str], ...]] = (
    (stat.S_ISFIFO, "a pipe"),
    (stat.S_ISCHR, "a device"),
    (stat.S_ISBLK, "a device"),
    (stat.S_ISSOCK, "a socket"),
)


def require_regular(path: Path) -> None:
    """Raise OSError, saying what it is, for what is there and is no regular file.

    A pipe would keep whoever opens it waiting, and a device may never end.
    """
    mode = path.stat().st_mode
    if stat.S_ISDIR(mode):
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), str(path))
    for is_one, name in _OTHERS:
        if is_one(mode):
            raise OSError(errno.EINVAL, f"it is {name}, not a regular file", str(path))


def read_regular(path: Path, limit: int) -> tuple[bytes, int]:
    """A file's first `limit` bytes and one more, and its size in bytes. Raises OSError."""
    require_regular(path)
    with path.open("rb") as file:
        found = file.read(limit + 1)
        return found, max(os.fstat(file.fileno()).st_size, len(found))
