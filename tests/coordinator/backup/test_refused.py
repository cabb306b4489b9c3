"""A file that is damaged, cut short, foreign, newer or made to harm is refused whole."""

import gzip
import hashlib
import io
import json
import shutil
import sqlite3
import tarfile
import zipfile
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.backup import container, contents
from coordinator.backup.contents import Manifest, Member
from coordinator.backup.errors import BackupError
from coordinator.backup.restore import restore
from tests.coordinator.backup.kit import NOW, PASSPHRASE

MADE = "2026-12-01T08:30:15Z"


def archive(members: dict[str, bytes], **says: Any) -> bytes:
    """A container of these members, whole by its own hashes, whatever it says."""
    listed = tuple(
        Member(name, len(content), hashlib.sha256(content).hexdigest())
        for name, content in members.items()
    )
    manifest = Manifest(
        **{"made_utc": MADE, "project": "0.1.0", "revision": None, "sealed": (), "members": listed}
        | says
    )
    file = io.BytesIO()
    container.write(file, manifest, lambda member: io.BytesIO(members[member.name]))
    return file.getvalue()


def with_manifest(text: bytes, rest: bytes = container.END) -> bytes:
    """A container whose manifest is this text."""
    parts = [
        (container.MANIFEST, text),
        (
            container.MANIFEST_SHA256,
            f"{hashlib.sha256(text).hexdigest()}  manifest.json\n".encode(),
        ),
    ]
    return (
        b"".join(
            container.header_of(name, len(content)) + content + bytes(-len(content) % 512)
            for name, content in parts
        )
        + rest
    )


SMALL = archive({"arm.toml": b"name = 'x'\n", "runs/0001.json": b"{}", "tokens.json": b""})


def looked_at(path: Path) -> None:
    """Read it whole, and keep nothing."""
    with container.opened(path) as found:
        found.read(lambda _member: len)


def refused(tmp_path: Path, content: bytes, says: str) -> str:
    """That it is not restored, with nothing made; the sentence."""
    file, to = tmp_path / "file", tmp_path / "laptop" / "data"
    file.write_bytes(content)
    with pytest.raises(BackupError, match=says) as told:
        restore(file, to, lambda: PASSPHRASE, NOW)
    assert not to.exists()
    assert not to.parent.exists() or list(to.parent.iterdir()) == []
    assert str(file) in str(told.value)
    assert "\n" not in str(told.value)
    return str(told.value)


def test_every_byte_of_a_container_that_is_another_is_noticed(tmp_path: Path) -> None:
    file = tmp_path / "file"
    file.write_bytes(SMALL)
    looked_at(file)
    for at in range(len(SMALL)):
        for flip in (1, 0x20, 0xFF):  # of letters and digits too: 0x20 is lower case, or a blank
            other = bytearray(SMALL)
            other[at] ^= flip
            file.write_bytes(other)
            with pytest.raises(BackupError):
                looked_at(file)


def test_every_length_but_its_own_is_noticed(tmp_path: Path) -> None:
    file = tmp_path / "file"
    for length in range(len(SMALL)):
        file.write_bytes(SMALL[:length])
        with pytest.raises(BackupError):
            looked_at(file)
    for more in (b"\0", b"x", bytes(512), SMALL):
        file.write_bytes(SMALL + more)
        with pytest.raises(BackupError, match="bytes behind the end"):
            looked_at(file)


@given(data=st.data())
def test_byte_of_a_whole_backup_that_is_another_is_noticed_before_any_passphrase(
    tmp_path_factory: pytest.TempPathFactory, keyed: Path, data: st.DataObject
) -> None:
    content = bytearray(keyed.read_bytes())
    at = data.draw(st.integers(0, len(content) - 1))
    content[at] ^= data.draw(st.integers(1, 255))
    folder = tmp_path_factory.mktemp("flipped")
    (folder / "file").write_bytes(content)

    def nobody() -> str:
        raise AssertionError("a passphrase was asked for")

    with pytest.raises(BackupError):
        restore(folder / "file", folder / "data", nobody, NOW)
    assert [one.name for one in folder.iterdir()] == ["file"]


def test_what_is_wrong_is_said(tmp_path: Path, plain: Path) -> None:
    whole = plain.read_bytes()
    database = whole.index(b"SQLite format 3")
    flipped = bytearray(whole)
    flipped[database + 5000] ^= 1
    refused(tmp_path, bytes(flipped), "is damaged: unisono.db in it is not what was backed up")
    refused(tmp_path, whole[:-5000], rf"is cut short: it has \d+ bytes of {len(whole)}")
    refused(tmp_path, whole[:700], "is cut short: it has 700 bytes")
    refused(tmp_path, b"", "is no backup that 'unisono backup' made")
    flipped = bytearray(whole)
    flipped[600] ^= 1
    refused(tmp_path, bytes(flipped), "is damaged: manifest.json in it")


def _zip() -> bytes:
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w") as made:
        made.writestr("manifest.json", "{}")
    return file.getvalue()


def _tar(*members: tarfile.TarInfo) -> bytes:
    file = io.BytesIO()
    with tarfile.open(fileobj=file, mode="w", format=tarfile.USTAR_FORMAT) as made:
        for one in members:
            made.addfile(one)
    return file.getvalue()


def _link(name: str) -> tarfile.TarInfo:
    made = tarfile.TarInfo(name)
    made.type, made.linkname = tarfile.SYMTYPE, "/etc/passwd"
    return made


@pytest.mark.parametrize(
    "content",
    [
        _zip(), gzip.compress(SMALL), _tar(), _tar(tarfile.TarInfo("manifest.json")),
        _tar(_link("manifest.json")), b"\0" * 4096, bytes(range(256)) * 40,
    ],
)  # fmt: skip
def test_file_of_another_program_is_refused(tmp_path: Path, content: bytes) -> None:
    refused(tmp_path, content, "is no backup that 'unisono backup' made")


@pytest.mark.parametrize(
    "name",
    [
        "../arm.toml", "/etc/passwd", "runs/../../x.json", "runs/0001.json/..", "./arm.toml",
        "arm.key", "coordinator.id", "lock", "runs/12345678901.json", "unisono.db-wal", "",
        "runs/0001.json\n", "x/0001.json", "manifest.json",
    ],
)  # fmt: skip
def test_name_that_no_backup_has_is_refused_though_all_hashes_are_right(
    tmp_path: Path, name: str
) -> None:
    content = archive({"arm.toml": b"x", name: b"y"})
    refused(tmp_path, content, "it names a file that no backup has")


def test_other_names_of_a_manifest_are_never_used_for_paths(tmp_path: Path) -> None:
    """A header that says another name, or a link, than the manifest is not what was backed up."""
    at = SMALL.index(b"runs/0001.json\0")
    for wrong in (b"runs/0002.json", b"../../evil.txt"):
        other = SMALL[:at] + wrong + SMALL[at + 14 :]
        refused(tmp_path, other, "is damaged: runs/0001.json in it")
    linked = bytearray(SMALL)
    linked[at + 156] = ord("2")
    refused(tmp_path, bytes(linked), "is damaged: runs/0001.json in it")


def _changed(**says: Any) -> bytes:
    text = SMALL[512 : 512 + int(SMALL[124:135], 8)]
    return (json.dumps(json.loads(text) | says, indent=1) + "\n").encode()


def _of(member: dict[str, Any]) -> bytes:
    return _changed(members=[json.loads(_changed())["members"][0] | member])


@pytest.mark.parametrize(
    "text",
    [
        b"{}", b"[]", b"7", b"\xff", b"[" * 100_000, _changed(format="another"),
        _changed(version=0), _changed(version="1"), _changed(version=True),
        _changed(extra=1), _changed() + b" ", _changed().replace(b'"sealed"', b'"sealed" '),
        _changed(members=None), _changed(members=[]), _changed(members=[1]),
        _changed(made_utc="yesterday"), _changed(project="a b"), _changed(project=1),
        _changed(revision="0008"), _changed(revision=8), _changed(sealed=["arm.key"]),
        _changed(sealed=["other.key"]), _changed(sealed="x"),
        _of({"size_bytes": -1}), _of({"size_bytes": 8**11}), _of({"size_bytes": True}),
        _of({"size_bytes": 1.0}), _of({"size_bytes": "1"}), _of({"sha256": "x"}),
        _of({"sha256": None}), _of({"name": 7}),
        _changed(members=json.loads(_changed())["members"] * 2),
    ],
)  # fmt: skip
def test_manifest_that_is_none_is_refused(tmp_path: Path, text: bytes) -> None:
    refused(tmp_path, with_manifest(text), "is no backup that this Unisono reads")


def test_manifest_of_a_newer_kind_is_told_with_what_made_it(tmp_path: Path) -> None:
    text = b'{"format": "unisono-backup", "version": 2, "project": "0.9.1", "whatever": []}'
    told = refused(tmp_path, with_manifest(text, b"anything"), "is a backup of a newer kind")
    assert "2, this Unisono reads 1" in told
    assert "made by Unisono 0.9.1; restore it with that or a newer one" in told
    odd = b'{"format": "unisono-backup", "version": 2, "project": "0.9\\n1"}'
    assert "made by Unisono unknown" in refused(tmp_path, with_manifest(odd), "newer kind")


def test_keys_that_would_fill_the_memory_are_none(tmp_path: Path) -> None:
    most = contents.SEALED_BYTES_MAX
    keys = {"arm.toml": b"x", "keys.sealed": bytes(most + 1)}
    refused(tmp_path, archive(keys, sealed=("arm.key",)), "it states no size of keys")


def test_file_that_claims_more_than_it_has_takes_no_place(tmp_path: Path) -> None:
    text = _of({"name": "arm.toml", "size_bytes": 8**11 - 1})
    refused(tmp_path, with_manifest(text, bytes(4096)), "is cut short: it has")
    header = container.header_of("manifest.json", container.MANIFEST_BYTES_MAX + 1)
    refused(tmp_path, header + bytes(5 << 20), "is no backup")


def _database(tmp_path: Path, plain: Path, *change: str) -> bytes:
    """The database of a real backup with a change by somebody else."""
    with container.opened(plain) as found:
        kept = {one.name: bytearray() for one in found.manifest.members}
        found.read(lambda member: kept[member.name].extend)
    (tmp_path / "db").write_bytes(kept["unisono.db"])
    with closing(sqlite3.connect(tmp_path / "db")) as database:
        for one in change:
            database.execute(one)
        database.commit()
        database.execute("PRAGMA journal_mode = DELETE")
    return (tmp_path / "db").read_bytes()


@pytest.mark.parametrize(
    ("change", "revision", "says"),
    [
        ("UPDATE alembic_version SET version_num = '0999'", "0999", "is of a newer version"),
        ("UPDATE alembic_version SET version_num = '0007'", "0008", "is damaged: its database"),
        ("CREATE VIEW v AS SELECT 1", "0008", "is of another program: it has a view"),
        (
            "CREATE TRIGGER t AFTER INSERT ON runs BEGIN DELETE FROM homings; END",
            "0008",
            "is of another program: it has a trigger",
        ),
        ("DROP TABLE alembic_version", None, "is of another program: it has a table"),
    ],
)
def test_database_of_another_program_or_newer_version_is_refused(
    tmp_path: Path, plain: Path, change: str, revision: str | None, says: str
) -> None:
    content = _database(tmp_path, plain, change)
    made = archive({"arm.toml": b"x", "unisono.db": content}, revision=revision)
    refused(tmp_path, made, says)


def test_database_that_is_none_is_refused(tmp_path: Path) -> None:
    made = archive({"arm.toml": b"x", "unisono.db": b"SQLite format 3\0" * 300}, revision="0008")
    refused(tmp_path, made, "cannot be restored: the database is damaged")


def test_wrong_passphrase_is_told_as_that_and_nothing_is_restored(
    tmp_path: Path, keyed: Path
) -> None:
    with pytest.raises(BackupError, match="the passphrase is not the one that the keys in"):
        restore(keyed, tmp_path / "data", lambda: PASSPHRASE + "!", NOW)
    assert list(tmp_path.iterdir()) == []


def test_backup_that_was_altered_on_purpose_is_noticed_by_whoever_has_the_passphrase(
    tmp_path: Path, keyed: Path
) -> None:
    """As by somebody who raises a limit in the arm file, and mends all hashes."""
    with container.opened(keyed) as found:
        manifest = found.manifest
        kept = {one.name: bytearray() for one in manifest.members}
        found.read(lambda member: kept[member.name].extend)
    kept["arm.toml"] = kept["arm.toml"].replace(
        b"temperature_limit_c = 7", b"temperature_limit_c = 9"
    )
    kept["arm.toml"] += b"# faster\n"
    members = {name: bytes(content) for name, content in kept.items()}
    says = {"revision": manifest.revision, "sealed": manifest.sealed}
    altered = archive(members, **says)
    refused(tmp_path, altered, "somebody has altered the file on purpose")


@pytest.mark.parametrize("change", ["missing", "folder", "device"])
def test_what_is_no_file_is_told(tmp_path: Path, change: Callable[[Path], None] | str) -> None:
    file = {
        "missing": tmp_path / "nowhere", "folder": tmp_path, "device": Path("/dev/zero"),
    }[str(change)]  # fmt: skip
    with pytest.raises(BackupError, match=f"{file} cannot be read: "):
        restore(file, tmp_path / "data", None, NOW)
    assert list(tmp_path.iterdir()) == []


def test_manifest_says_all_that_it_was_made_of() -> None:
    made = Manifest(MADE, "0.1.0", None, (), (Member("arm.toml", 1, "0" * 64),))
    assert contents.decode(made.encoded()) == made
    assert shutil.which("tar") is not None
