"""A folder put in another's place at one instant, and the other one put aside."""

import ctypes
import errno
import os
from datetime import UTC, datetime
from itertools import count
from pathlib import Path
from typing import Final

from coordinator.config.data_folder import LOCK_FILE, restored_beside, sync_folder

_AT_FDCWD: Final = -100
_RENAME_EXCHANGE: Final = 2
"""Of renameat2(2)."""
_UNSUPPORTED: Final = (errno.ENOSYS, errno.EINVAL, errno.EOPNOTSUPP)


def is_empty(folder: Path) -> bool:
    """Whether nothing is in a folder, or only what a coordinator locks, and nothing else."""
    return not {one.name for one in folder.iterdir()} - {LOCK_FILE}


def put_in_place(made: Path, folder: Path, now: datetime) -> Path | None:
    """Rename `made` to `folder`, and give where that is now which was there, None if nothing was.

    Whatever befalls this process, one of them is there, whole, and the other one whole beside it:
    as `.NAME.restored` (`put_away` finds it) or under the name that this gives. Raises OSError, of
    a rename with `folder` as it was.
    """
    if not folder.is_dir() or is_empty(folder):
        if folder.is_dir():
            (folder / LOCK_FILE).unlink(missing_ok=True)
        made.rename(folder)  # over an empty folder too, at one instant (rename(2))
        sync_folder(folder.parent)
        return None
    ready, aside = restored_beside(folder), free_name(folder, now)
    made.rename(ready)  # so that nobody takes for rubbish what has the old content in a moment
    sync_folder(folder.parent)
    try:
        is_exchanged = _exchange(ready, folder)
        if not is_exchanged:
            _by_two_steps(ready, folder, aside)
    except OSError:
        ready.rename(made)
        raise
    # From here on it is in its place, whatever a disk says to what follows.
    sync_folder(folder.parent)
    if is_exchanged:
        ready.rename(aside)
        sync_folder(folder.parent)
    return aside


def put_away(folder: Path, now: datetime) -> Path | None:
    """What an earlier attempt left beside a folder when it was killed, under a name to be seen.

    It may be what was restored, or what was there before: nothing of it is deleted. Raises OSError.
    """
    ready = restored_beside(folder)
    if not os.path.lexists(ready):
        return None
    aside = free_name(folder, now)
    ready.rename(aside)
    sync_folder(folder.parent)
    return aside


def free_name(folder: Path, now: datetime) -> Path:
    """A name beside a folder that nothing has."""
    stem = f"{folder.name}.aside-{now.astimezone(UTC):%Y%m%dT%H%M%SZ}"
    names = (stem if number == 1 else f"{stem}-{number}" for number in count(1))
    return next(path for name in names if not os.path.lexists(path := folder.with_name(name)))


def _exchange(one: Path, other: Path) -> bool:
    """Have two names change places at one instant; False where this disk or system cannot."""
    rename = getattr(ctypes.CDLL(None, use_errno=True), "renameat2", None)
    if rename is None:
        return False
    names = (os.fsencode(one), os.fsencode(other))
    if rename(_AT_FDCWD, names[0], _AT_FDCWD, names[1], ctypes.c_uint(_RENAME_EXCHANGE)) == 0:
        return True
    code = ctypes.get_errno()
    if code in _UNSUPPORTED:
        return False
    raise OSError(code, os.strerror(code), str(other))


def _by_two_steps(ready: Path, folder: Path, aside: Path) -> None:
    """Rename one after the other. A kill in between leaves no folder, the old one as `aside`."""
    folder.rename(aside)
    try:
        ready.rename(folder)
    except OSError:
        aside.rename(folder)
        raise
