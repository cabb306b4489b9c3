"""The coordinator's data folder: the arm's key, its own lasting id, and who is using it.

arm.key          the arm's 256-bit key in hex, for the owner's eyes only
firmware.key     what signs firmware, and firmware.pub (config.update_key); it may be elsewhere
coordinator.id   16 bytes in hex, made once; joints know their coordinator by it
lock             held while a coordinator runs, with its process id
unisono.db       what changes by use (coordinator.store), or
database.url     where that is, if a database server has it

The folder is made with a key, and by nothing else.
"""

import contextlib
import fcntl
import os
import re
import stat
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from coordinator.config.regular_file import require_regular
from protocol.keys import KEY_BYTES

KEY_FILE: Final = "arm.key"
ID_FILE: Final = "coordinator.id"
LOCK_FILE: Final = "lock"
ID_BYTES: Final = 16


class DataFolderError(Exception):
    """The folder cannot be used; the text is a sentence for its owner."""


def make_key(folder: Path) -> Path:
    """Make the arm's key, readable by its owner only, and the folder for it.

    Raises DataFolderError if there is a key already, or a restore was killed before it had put one
    in its place.
    """
    path = folder / KEY_FILE
    if sentence := cut_short(folder):
        raise DataFolderError(sentence)
    taken = (
        f"{path} is there already; joints that hold it would be lost with it. Move it away "
        "first if a new key is what you want."
    )
    write_new(path, os.urandom(KEY_BYTES).hex() + "\n", 0o600, taken)
    return path


def write_new(path: Path, text: str, mode: int, taken: str) -> None:
    """Write a file that is not there yet, with the mode that it is to have, and the folder for it.

    Raises DataFolderError, `taken` where there is one; then nothing was changed.
    """
    try:
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as error:
        raise DataFolderError(f"{path.parent} cannot be made: {error.strerror}") from error
    try:
        # O_EXCL: a key that some joints already hold is never written over.
        descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode)
    except FileExistsError:
        raise DataFolderError(taken) from None
    except OSError as error:
        raise DataFolderError(f"{path} cannot be written: {error.strerror}") from error
    try:
        with os.fdopen(descriptor, "w") as file:
            os.fchmod(descriptor, mode)
            file.write(text)
            file.flush()
            os.fsync(descriptor)
        sync_folder(path.parent)
    except OSError as error:
        path.unlink(missing_ok=True)  # no joint holds it yet, and a part of a key bars a new one
        raise DataFolderError(f"{path} cannot be written: {error.strerror}") from error


def read_key(folder: Path) -> bytes:
    """The arm's key. Raises DataFolderError if it is absent, malformed or open to others."""
    absent = cut_short(folder) or (
        f"there is no key in {folder}: make one with 'unisono key new --data {folder}'"
    )
    return read_secret(folder / KEY_FILE, absent, "move the arm")


def restored_beside(folder: Path) -> Path:
    """Where a restore has what it is about to put in a folder's place."""
    return folder.with_name(f".{folder.name}.restored")


def cut_short(folder: Path) -> str:
    """Why there is no folder, where a restore was killed between two renames; else empty.

    To make a new key then would cost every joint's cable, and the right one is there.
    """
    real = Path(os.path.realpath(folder))
    if os.path.lexists(real) or not restored_beside(real).is_dir():
        return ""
    return (
        f"there is no {folder}, as a restore to it was cut short: do it again, or put "
        f"{restored_beside(real)} there; what was there before is in {real}.aside-…"
    )


def read_secret(path: Path, absent: str, misuse: str) -> bytes:
    """A secret key. Raises DataFolderError: `absent` where there is none, and where other users,
    who could do what is `misuse`, may read it.
    """
    try:
        require_regular(path)
        mode = path.stat().st_mode
    except FileNotFoundError:
        raise DataFolderError(absent) from None
    except OSError as error:
        raise DataFolderError(f"{path} cannot be read: {error.strerror}") from error
    if mode & (stat.S_IRWXG | stat.S_IRWXO):
        raise DataFolderError(
            f"{path} is open to other users (mode {stat.S_IMODE(mode):04o}), who could {misuse}: "
            f"run 'chmod 600 {path}'"
        )
    return read_hex(path, KEY_BYTES)


def read_hex(path: Path, length: int) -> bytes:
    """A key of so many bytes, in hex. Raises DataFolderError."""
    unlike = f"{path} holds no key of {2 * length} hex digits"
    try:
        require_regular(path)
        text = path.read_text(encoding="ascii").strip()
    except UnicodeDecodeError:
        raise DataFolderError(unlike) from None
    except OSError as error:
        raise DataFolderError(f"{path} cannot be read: {error.strerror}") from error
    if not re.fullmatch(f"[0-9a-fA-F]{{{2 * length}}}", text):
        raise DataFolderError(unlike)
    return bytes.fromhex(text)


def coordinator_id(folder: Path) -> bytes:
    """This coordinator's lasting id, made when there is none. Raises DataFolderError."""
    path = folder / ID_FILE
    try:
        text = path.read_text(encoding="ascii").strip()
    except FileNotFoundError:
        made = os.urandom(ID_BYTES)
        write_whole(path, made.hex() + "\n")
        return made
    except (OSError, UnicodeDecodeError) as error:
        raise DataFolderError(f"{path} cannot be read: {error}") from error
    if not re.fullmatch(f"[0-9a-f]{{{2 * ID_BYTES}}}", text):
        raise DataFolderError(f"{path} holds no id of 32 hex digits")
    return bytes.fromhex(text)


@contextlib.contextmanager
def locked(folder: Path) -> Iterator[None]:
    """Hold the folder's lock. Raises DataFolderError naming the process that holds it."""
    path = folder / LOCK_FILE
    try:
        descriptor = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
    except OSError as error:
        raise DataFolderError(f"{path} cannot be opened: {error.strerror}") from error
    with os.fdopen(descriptor, "r+") as file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            owner = file.read().strip() or "unknown"
            raise DataFolderError(
                f"another coordinator, process {owner}, is using {folder}; two cannot drive one arm"
            ) from None
        file.truncate(0)
        file.write(f"{os.getpid()}\n")
        file.flush()
        yield


def write_whole(path: Path, text: str, mode: int = 0o666) -> None:
    """Replace a file so that a crash leaves the old or the new one, never a part.

    `mode` says who may use it from the first byte on, as far as the process's umask lets them.
    """
    beside = path.with_name(f".{path.name}.new")
    try:
        beside.unlink(missing_ok=True)
        descriptor = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode)
        with os.fdopen(descriptor, "w", encoding="utf-8") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        beside.replace(path)
        sync_folder(path.parent)
    except OSError as error:
        raise DataFolderError(f"{path} cannot be written: {error.strerror}") from error


def sync_folder(folder: Path) -> None:
    """Make a folder's entries survive a crash."""
    descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
