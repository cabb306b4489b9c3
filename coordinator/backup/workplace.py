"""A folder beside what is to be made, on the same disk, so that it is put in place by a rename."""

import contextlib
import fcntl
import os
import shutil
from collections.abc import Iterator
from pathlib import Path

from coordinator.backup.errors import BackupError, not_written


@contextlib.contextmanager
def workplace(target: Path, doing: str) -> Iterator[Path]:
    """An empty folder for the owner alone, gone afterwards; what a kill left in it goes now.

    Raises BackupError where it cannot be made, and while another process works there.
    """
    place = target.with_name(f".{target.name}.{doing}")
    descriptor = _taken(place, target)
    try:
        try:
            _empty(place)
        except OSError as error:
            raise not_written(place, error) from error
        yield place
    finally:
        # What was put in place has another name by now.
        shutil.rmtree(place, ignore_errors=True)
        os.close(descriptor)


def _taken(place: Path, target: Path) -> int:
    """The folder, locked for this process: its descriptor."""
    while True:
        try:
            place.mkdir(mode=0o700, exist_ok=True)
            descriptor = os.open(place, os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW)
        except OSError as error:
            raise not_written(place, error) from error
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
            # Whoever had it before may have taken it away in between.
            if os.path.samestat(os.fstat(descriptor), os.stat(place)):
                return descriptor
        except BlockingIOError:
            os.close(descriptor)
            raise BackupError(f"another process is at work on {target}") from None
        except FileNotFoundError:
            pass
        os.close(descriptor)


def _empty(place: Path) -> None:
    for one in place.iterdir():
        if one.is_dir() and not one.is_symlink():
            shutil.rmtree(one)
        else:
            one.unlink()
