"""A backup made: copied, looked at and hashed first, then written beside its place and renamed."""

import hashlib
import os
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib import metadata
from pathlib import Path
from typing import BinaryIO, Final

from coordinator.backup import container, database
from coordinator.backup.contents import (
    ARM,
    DATABASE,
    NOT_OURS,
    PLAIN,
    REPORTS,
    SEALED,
    SECRETS,
    Manifest,
    Member,
    may_hold,
)
from coordinator.backup.errors import BackupError, not_read, not_written
from coordinator.backup.sealed import seal
from coordinator.backup.workplace import workplace
from coordinator.config.data_folder import KEY_FILE, cut_short, read_key, sync_folder
from coordinator.config.regular_file import require_regular
from coordinator.store.place import elsewhere

_BESIDE_DATABASE: Final = (f"{DATABASE}-wal", f"{DATABASE}-shm")
"""Parts of the database, which its copy has in itself."""


@dataclass(frozen=True, slots=True)
class Made:
    """A backup that is on the disk."""

    manifest: Manifest
    size_bytes: int
    left_out: tuple[str, ...]
    """What else the data folder has, of which nothing is in it."""


def back_up(data: Path, arm: Path, to: Path, passphrase: str | None, now: datetime) -> Made:
    """Back up a data folder and an arm file, with the keys if there is a passphrase for them.

    A coordinator may be using the folder. Raises BackupError; then there is no file, or the one
    that was there.
    """
    require_place(data, to)
    with workplace(to, "making") as place:
        sources = dict(_plain(data, arm))
        revision = None
        if (data / DATABASE).exists():
            sources[DATABASE] = place / DATABASE
            database.copy(data / DATABASE, sources[DATABASE])
            try:
                revision = database.revision_of(sources[DATABASE])
            except BackupError as error:
                raise BackupError(f"no backup is made: of {data / DATABASE}, {error}") from error
        secrets = {} if passphrase is None else dict(_secrets(data))
        manifest = Manifest(
            made_utc=f"{now.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}",
            project=metadata.version("unisono"),
            revision=revision,
            sealed=tuple(secrets),
            members=tuple(_member(name, path) for name, path in sources.items()),
        )
        if passphrase is not None:
            sources[SEALED] = place / SEALED
            manifest = _sealed(manifest, secrets, passphrase, sources[SEALED])
        made = place / "backup"
        size = _write(made, to, manifest, sources)
        _put(made, to)
    return Made(manifest, size, tuple(_left_out(data, arm, with_keys=passphrase is not None)))


def require_place(data: Path, to: Path) -> None:
    """Raise BackupError where a backup has nothing in it, or no place where it may be."""
    if not data.is_dir():
        raise BackupError(cut_short(data) or f"there is no data folder {data}")
    if (server := elsewhere(data)) is not None:
        raise BackupError(
            f"no backup is made: {data} has its data in {server}, which is backed up by its own "
            f"tools, such as pg_dump; copy {data} and the arm file beside that"
        )
    if not any((data / name).exists() for name in (KEY_FILE, DATABASE)):
        raise BackupError(f"{data} is no data folder: it has neither {KEY_FILE} nor {DATABASE}")
    if os.path.lexists(to):
        raise BackupError(f"{to} is there already; a backup writes over nothing")
    if not to.absolute().parent.is_dir():
        raise BackupError(f"{to} cannot be written: there is no such folder")
    if to.absolute().parent.resolve().is_relative_to(data.resolve()):
        raise BackupError(
            f"{to} is in {data} itself, and would be lost with it: name another place"
        )


def _plain(data: Path, arm: Path) -> Iterator[tuple[str, Path]]:
    """What goes in as it is, by its name, in the order of the file."""
    for name in PLAIN:
        path = arm if name == ARM else data / name
        if name == ARM or path.exists():
            yield name, path
    for folder in REPORTS:
        if (data / folder).is_dir():
            for path in sorted((data / folder).iterdir()):
                if may_hold(f"{folder}/{path.name}"):
                    yield f"{folder}/{path.name}", path


def _secrets(data: Path) -> Iterator[tuple[str, str]]:
    """Secret files' texts, by their names. Raises DataFolderError where the arm's key is none."""
    if not os.path.lexists(data / KEY_FILE):
        raise BackupError(f"there is no {KEY_FILE} in {data} that --with-key could put in")
    read_key(data)
    for name in SECRETS:
        path = data / name
        if os.path.lexists(path):
            try:
                require_regular(path)
                yield name, path.read_text(encoding="utf-8")
            except UnicodeDecodeError:
                raise BackupError(f"no backup is made: {path} is no text") from None
            except OSError as error:
                raise not_read(path, error) from error


def _sealed(manifest: Manifest, secrets: dict[str, str], passphrase: str, to: Path) -> Manifest:
    """The manifest with the secrets' member, which is written."""
    content = seal(secrets, passphrase, manifest.beside_keys)
    try:
        to.write_bytes(content)
    except OSError as error:
        raise not_written(to, error) from error
    one = Member(SEALED, len(content), hashlib.sha256(content).hexdigest())
    return Manifest(
        manifest.made_utc,
        manifest.project,
        manifest.revision,
        manifest.sealed,
        (*manifest.members, one),
    )


def _member(name: str, path: Path) -> Member:
    try:
        require_regular(path)
        with path.open("rb") as file:
            digest = hashlib.file_digest(file, "sha256").hexdigest()
            return Member(name, file.tell(), digest)
    except OSError as error:
        raise not_read(path, error) from error


def _write(made: Path, to: Path, manifest: Manifest, sources: dict[str, Path]) -> int:
    """Write the archive; how long it is."""

    def opened(member: Member) -> BinaryIO:
        return sources[member.name].open("rb")

    try:
        # Who may read it may see what was taught and played, and try passphrases.
        descriptor = os.open(made, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(descriptor, "wb") as file:
            container.write(file, manifest, opened)
            file.flush()
            os.fsync(descriptor)
            return file.tell()
    except OSError as error:
        raise not_written(to, error) from error
    except ValueError as error:
        raise BackupError(f"no backup is made: {error}") from error


def _put(made: Path, to: Path) -> None:
    if os.path.lexists(to):
        raise BackupError(f"{to} is there by now; a backup writes over nothing")
    try:
        made.rename(to)
        sync_folder(to.absolute().parent)
    except OSError as error:
        raise not_written(to, error) from error


def _left_out(data: Path, arm: Path, *, with_keys: bool) -> Iterator[str]:
    """Names in the data folder that a person may have expected to be in it."""
    known = {*PLAIN, *NOT_OURS, *REPORTS, *_BESIDE_DATABASE, *(SECRETS if with_keys else ())}
    for path in sorted(data.iterdir()):
        # A link to nowhere is none either.
        is_other_arm = path.name == ARM and not (path.exists() and path.samefile(arm))
        if path.name not in known or is_other_arm:
            yield path.name
    for folder in REPORTS:
        if (data / folder).is_dir():
            for path in sorted((data / folder).iterdir()):
                if not may_hold(f"{folder}/{path.name}"):
                    yield f"{folder}/{path.name}"
