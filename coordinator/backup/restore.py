"""A backup restored: unpacked and looked at beside its place, then put there at one instant."""

import contextlib
import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Final

from coordinator.backup import database
from coordinator.backup.container import Archive, opened
from coordinator.backup.contents import DATABASE, SEALED, Manifest, Member
from coordinator.backup.errors import BackupError, not_read, not_written
from coordinator.backup.in_place import is_empty, put_away, put_in_place
from coordinator.backup.sealed import NotSealedSo, unseal
from coordinator.backup.workplace import workplace
from coordinator.config.data_folder import ID_FILE, KEY_FILE, LOCK_FILE, locked, sync_folder

_OWN: Final = (KEY_FILE, DATABASE, ID_FILE)
"""By one of which a folder is known as one that this program made."""
_FOR_OWNER: Final = (DATABASE, KEY_FILE, "firmware.key", "server.pem")
"""What no other user may read, as it is where these files are made."""


@dataclass(frozen=True, slots=True)
class Restored:
    """What a data folder now holds."""

    manifest: Manifest
    keys: tuple[str, ...]
    """Secrets that are in the folder now."""
    put_aside: Path | None
    """Where that is which the folder held before."""
    left_behind: Path | None
    """What an attempt that was killed had left, which was put aside too."""


def restore(
    file: Path,
    data: Path,
    passphrase: Callable[[], str] | None,
    now: datetime,
    *,
    replace: bool = False,
) -> Restored:
    """Make a data folder of a backup, as a whole or not at all.

    `passphrase` is asked for once all else was found right, and where there are keys; without it
    they are not restored. Raises BackupError and DataFolderError; then the folder is as it was.
    """
    data = Path(os.path.realpath(data))  # a link to a folder stays one
    with opened(file) as archive, _given(data, replace=replace):
        _make_parent(data)
        with workplace(data, "restoring") as place:
            try:
                left_behind = put_away(data, now)
                staged = place / "new"
                staged.mkdir(mode=0o700)
            except OSError as error:
                raise not_written(data, error) from error
            sealed = _unpack(archive, staged)
            _look_at_database(file, staged / DATABASE, archive.manifest)
            keys = _restore_keys(file, archive.manifest, sealed, passphrase, staged)
            try:
                _give_to_owner(staged, data)
                _sync(staged)
                put_aside = put_in_place(staged, data, now)
            except OSError as error:
                raise not_written(data, error) from error
    return Restored(archive.manifest, keys, put_aside, left_behind)


@contextlib.contextmanager
def _given(data: Path, *, replace: bool) -> Iterator[None]:
    """A folder that may be made, or replaced and that no coordinator uses meanwhile."""
    if not os.path.lexists(data):
        yield
        return
    try:
        if data.is_dir() and is_empty(data):
            yield
            return
        found = sorted(one.name for one in data.iterdir() if one.name != LOCK_FILE)
    except OSError as error:
        raise not_read(data, error) from error
    if not set(found) & set(_OWN):
        raise BackupError(f"{data} is no data folder, and is left alone: it has {found[0]!r} in it")
    if not replace:
        raise BackupError(
            f"{data} has an arm's data in it already; with --replace that is put aside, and "
            "nothing of it deleted"
        )
    with locked(data):
        yield


def _make_parent(data: Path) -> None:
    try:
        data.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as error:
        raise not_written(data.parent, error) from error


def _unpack(archive: Archive, staged: Path) -> bytes:
    """Write the members; what is sealed of them. Raises BackupError."""
    sealed = bytearray()
    with contextlib.ExitStack() as open_files:

        def take(member: Member) -> Callable[[bytes], object]:
            if member.name == SEALED:
                return sealed.extend
            path = staged / member.name
            path.parent.mkdir(mode=0o700, exist_ok=True)
            open_files.close()  # of the member before
            return open_files.enter_context(os.fdopen(_create(path), "wb")).write

        try:
            archive.read(take)
            open_files.close()
        except OSError as error:
            raise not_written(staged, error) from error
    return bytes(sealed)


def _create(path: Path) -> int:
    mode = 0o600 if path.name in _FOR_OWNER else 0o644
    return os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW, mode)


def _look_at_database(file: Path, path: Path, manifest: Manifest) -> None:
    if not path.exists():
        return
    try:
        found = database.revision_of(path)
    except BackupError as error:
        raise BackupError(f"{file} cannot be restored: {error}") from error
    if found != manifest.revision:
        raise BackupError(
            f"{file} is damaged: its database is of revision {found}, and should be of "
            f"{manifest.revision}"
        )


def _restore_keys(
    file: Path,
    manifest: Manifest,
    sealed: bytes,
    passphrase: Callable[[], str] | None,
    staged: Path,
) -> tuple[str, ...]:
    if not manifest.sealed or passphrase is None:
        return ()
    try:
        texts = unseal(sealed, passphrase(), manifest.beside_keys)
    except NotSealedSo:
        raise BackupError(
            f"the passphrase is not the one that the keys in {file} were encrypted with, or "
            "somebody has altered the file on purpose; nothing is restored"
        ) from None
    if tuple(texts) != manifest.sealed:
        raise BackupError(f"{file} is damaged: it has not the keys that it names")
    try:
        for name, text in texts.items():
            with os.fdopen(_create(staged / name), "w", encoding="utf-8", newline="") as secret:
                secret.write(text)
    except OSError as error:
        raise not_written(staged, error) from error
    return manifest.sealed


def _give_to_owner(staged: Path, data: Path) -> None:
    """Where root restores the folder of a service, it stays the service's."""
    if os.geteuid() != 0:
        return
    owner = (data if data.exists() else data.parent).stat()
    for path in (staged, *staged.rglob("*")):
        os.chown(path, owner.st_uid, owner.st_gid)


def _sync(staged: Path) -> None:
    """Have all of it on the disk before anything has its name."""
    for path in staged.rglob("*"):
        if path.is_dir():
            sync_folder(path)
            continue
        descriptor = os.open(path, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
    sync_folder(staged)
