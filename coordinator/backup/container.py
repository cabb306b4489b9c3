"""The file itself: a tar archive (POSIX.1-2017, pax: ustar) of which every byte is determined.

manifest.json      which members there are (contents.py)
manifest.sha256    its hash, as `sha256sum` writes it; every later version keeps these two
the members        in the manifest's order
1,024 zero bytes   the archive's end

Headers are written here and compared byte for byte, not interpreted: a name, a link, a mode or an
owner in a file has no say. Nothing is compressed, so nothing grows when it is unpacked. `tar` reads
it, should Unisono be gone.
"""

import hashlib
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO, Final

from coordinator.backup.contents import (
    MEMBER_BYTES_MAX,
    VERSION,
    Manifest,
    Member,
    Newer,
    Unlike,
    decode,
)
from coordinator.backup.errors import BackupError, not_read
from coordinator.config.regular_file import require_regular

MANIFEST: Final = "manifest.json"
MANIFEST_SHA256: Final = "manifest.sha256"
MANIFEST_BYTES_MAX: Final = 4 << 20
BLOCK: Final = 512
END: Final = bytes(2 * BLOCK)
_CHUNK: Final = 1 << 20
_CHECKSUM: Final = slice(148, 156)


def header_of(name: str, size_bytes: int) -> bytes:
    """The 512 bytes before a member. Raises ValueError for what they cannot say."""
    coded = name.encode("ascii")
    if len(coded) > 100 or not 0 <= size_bytes <= MEMBER_BYTES_MAX:
        raise ValueError(f"no header says {name!r} of {size_bytes} bytes")
    fields = (
        coded.ljust(100, b"\0"),
        b"0000600\0",  # for the owner's eyes only, also where `tar` unpacks it
        b"0000000\0" * 2,  # owner and group
        b"%011o\0" % size_bytes,
        b"00000000000\0",  # the manifest says when
        b" " * 8,  # the checksum's place, counted as blanks
        b"0".ljust(101, b"\0"),  # a regular file, linked to nothing
        b"ustar\00000",
        bytes(64),  # names of owner and group
        b"0000000\0" * 2,  # a device's numbers
    )
    made = bytearray(b"".join(fields).ljust(BLOCK, b"\0"))
    made[_CHECKSUM] = b"%06o\0 " % sum(made)
    return bytes(made)


def write(file: BinaryIO, manifest: Manifest, sources: Callable[[Member], BinaryIO]) -> None:
    """Write a whole archive; `sources` opens what each member is made of.

    Raises OSError, and BackupError for a source that is not what the manifest says.
    """
    text = manifest.encoded()
    if len(text) > MANIFEST_BYTES_MAX:
        raise BackupError("no backup is made: there are too many old reports to be listed in one")
    for name, content in ((MANIFEST, text), (MANIFEST_SHA256, _hash_line(text))):
        file.write(header_of(name, len(content)) + content + _padding(len(content)))
    for member in manifest.members:
        file.write(header_of(member.name, member.size_bytes))
        with sources(member) as source:
            hashed, copied = hashlib.sha256(), 0
            while piece := source.read(_CHUNK):
                file.write(piece)
                hashed.update(piece)
                copied += len(piece)
        if (copied, hashed.hexdigest()) != (member.size_bytes, member.sha256):
            raise BackupError(f"no backup is made: {member.name} changed meanwhile; try again")
        file.write(_padding(copied))
    file.write(END)


class Archive:
    """A backup that is open to be read: its manifest is known, and of its length that it is right.

    Raises BackupError where it is damaged, cut short, of another program or newer.
    """

    def __init__(self, path: Path, file: BinaryIO) -> None:
        self._path, self._file = path, file
        text = self._first()
        hash_line = _hash_line(text)
        if (
            self._take(len(header_of(MANIFEST_SHA256, len(hash_line))))
            != header_of(MANIFEST_SHA256, len(hash_line))
            or self._content(len(hash_line)) != hash_line
        ):
            raise self._damaged(MANIFEST)
        try:
            self.manifest = decode(text)
        except Newer as error:
            raise BackupError(
                f"{path} is a backup of a newer kind ({error.version}, this Unisono reads "
                f"{VERSION}): it was made by Unisono {error.project}; restore it with that or a "
                "newer one"
            ) from error
        except Unlike as error:
            raise BackupError(f"{path} is no backup that this Unisono reads: {error}") from error
        self._require_length()

    def read(self, take: Callable[[Member], Callable[[bytes], object]]) -> None:
        """Give all members to whoever `take`s them, in order, in pieces; then nothing is left.

        Of a member that raises, what was given before is not to be used.
        """
        for member in self.manifest.members:
            if self._take(BLOCK) != header_of(member.name, member.size_bytes):
                raise self._damaged(member.name)
            give, hashed, left = take(member), hashlib.sha256(), member.size_bytes
            while left:
                piece = self._take(min(left, _CHUNK))
                hashed.update(piece)
                give(piece)
                left -= len(piece)
            padding = _padding(member.size_bytes)
            if hashed.hexdigest() != member.sha256 or self._take(len(padding)) != padding:
                raise self._damaged(member.name)
        if self._take(len(END)) != END or self._file.read(1):
            raise BackupError(f"{self._path} is damaged: its end is not that of a backup")

    def _first(self) -> bytes:
        """The manifest's bytes, by what its header says of their number."""
        header = self._read(BLOCK)
        foreign = BackupError(
            f"{self._path} is no backup that 'unisono backup' made, or its beginning is damaged"
        )
        try:
            size = int(header[124:135], 8)
        except ValueError:
            raise foreign from None
        if not 0 < size <= MANIFEST_BYTES_MAX or header != header_of(MANIFEST, size):
            raise foreign
        return self._content(size)

    def _content(self, size: int) -> bytes:
        content = self._take(size)
        if self._take(len(_padding(size))) != _padding(size):
            raise self._damaged(MANIFEST)
        return content

    def _require_length(self) -> None:
        members = self.manifest.members
        rest = sum(BLOCK + one.size_bytes + len(_padding(one.size_bytes)) for one in members)
        whole = self._file.tell() + rest + len(END)
        has = os.fstat(self._file.fileno()).st_size
        if has < whole:
            raise self._cut_short(has, whole)
        if has > whole:
            raise BackupError(
                f"{self._path} is damaged: it has {has - whole} bytes behind the end of the backup"
            )

    def _take(self, size: int) -> bytes:
        taken = self._read(size)
        if len(taken) != size:
            raise self._cut_short(os.fstat(self._file.fileno()).st_size, None)
        return taken

    def _read(self, size: int) -> bytes:
        try:
            return self._file.read(size)
        except OSError as error:
            raise not_read(self._path, error) from error

    def _damaged(self, name: str) -> BackupError:
        return BackupError(f"{self._path} is damaged: {name} in it is not what was backed up")

    def _cut_short(self, has: int, of: int | None) -> BackupError:
        whole = "" if of is None else f" of {of}"
        return BackupError(f"{self._path} is cut short: it has {has} bytes{whole}")


@contextmanager
def opened(path: Path) -> Iterator[Archive]:
    """A backup to be read. Raises BackupError."""
    try:
        require_regular(path)
        file = path.open("rb")
    except OSError as error:
        raise not_read(path, error) from error
    with file:
        yield Archive(path, file)


def _hash_line(text: bytes) -> bytes:
    return f"{hashlib.sha256(text).hexdigest()}  {MANIFEST}\n".encode()


def _padding(size: int) -> bytes:
    """Zeros up to a whole block."""
    return bytes(-size % BLOCK)
