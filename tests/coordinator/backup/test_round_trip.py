"""What is backed up is restored with everything as it was."""

import asyncio
import json
import shutil
import sqlite3
import subprocess
import tarfile
from contextlib import closing
from pathlib import Path

import pytest
from sqlalchemy import Connection

from coordinator.api.certificate import CERTIFICATE_FILE, SERVER_FILE
from coordinator.api.tokens import TOKENS_FILE
from coordinator.backup import contents
from coordinator.backup.errors import BackupError
from coordinator.backup.make import back_up
from coordinator.backup.restore import restore
from coordinator.config import data_folder, update_key
from coordinator.config.data_folder import coordinator_id, read_key
from coordinator.records.taught import TaughtKeeper
from coordinator.store import Store, old_files, settings, sqlite_file
from coordinator.store.opening import migrate
from coordinator.store.sqlite_file import engine_of, make_file
from tests.coordinator.backup.kit import (
    ARM_TEXT,
    NOW,
    PASSPHRASE,
    everything,
    files,
    full_folder,
    rows,
)
from tests.coordinator.teaching.kit import ARM


def test_everything_is_as_it_was_but_whose_folder_it_is(
    tmp_path: Path, data: Path, keyed: Path
) -> None:
    to = tmp_path / "a" / "laptop" / "data"
    done = restore(keyed, to, lambda: PASSPHRASE, NOW)
    assert (to / "arm.toml").read_bytes() == ARM_TEXT
    found = files(to)
    del found["arm.toml"]
    assert found == files(data)
    kept = rows(data)
    assert rows(to) == kept
    emptied = {name for name, lines in kept.items() if not lines}
    assert emptied == set(), "a kind of record that this test does not have"
    assert read_key(to) == read_key(data)
    assert set(done.keys) == {"arm.key", "firmware.key", "server.pem", "cert.pem"}
    assert (done.put_aside, done.left_behind) == (None, None)
    # Joints hear one coordinator at a time, and tell two apart by these.
    assert not (to / "coordinator.id").exists()
    assert coordinator_id(to) != coordinator_id(data)
    assert to.stat().st_mode & 0o777 == 0o700


async def test_undo_and_redo_go_on_where_they_were(tmp_path: Path, plain: Path) -> None:
    restore(plain, tmp_path / "data", None, NOW)
    store = Store(tmp_path / "data")
    keeper = TaughtKeeper(store, ARM, dict)
    now = await keeper.now()
    assert now.redo == "kept program 'by hand'"
    again = await keeper.redo(now.revision)
    assert [one.name for one in again.taught.programs.values()] == ["by hand"]
    for _ in range(4):
        again = await keeper.undo(again.revision)
    assert (again.undo, again.taught.sequences) == (None, {})
    await store.close()


def test_names_in_a_backup_are_those_of_the_folder() -> None:
    assert contents.DATABASE == sqlite_file.FILE
    assert set(contents.SECRETS) == {
        data_folder.KEY_FILE, update_key.SECRET_FILE, SERVER_FILE, CERTIFICATE_FILE,
    }  # fmt: skip
    assert set(contents.PLAIN) == {
        "arm.toml", sqlite_file.FILE, update_key.PUBLIC_FILE, TOKENS_FILE
    }  # fmt: skip
    assert set(contents.NOT_OURS) == {data_folder.ID_FILE, data_folder.LOCK_FILE}
    assert set(contents.REPORTS) == {old_files.FOLDER, old_files.IMPORTED}


def test_secrets_are_nowhere_in_a_backup_without_them_and_in_clear_in_none(
    data: Path, plain: Path, keyed: Path
) -> None:
    key = (data / "arm.key").read_bytes().strip()
    firmware = (data / "firmware.key").read_bytes().strip()
    for made in (plain, keyed):
        content = made.read_bytes()
        for secret in (key, bytes.fromhex(key.decode()), firmware, b"PRIVATE KEY"):
            assert secret not in content
        assert made.stat().st_mode & 0o777 == 0o600
    assert b"keys.sealed" not in plain.read_bytes()


def test_the_same_content_makes_the_same_bytes(
    tmp_path: Path, arm_file: Path, data: Path, plain: Path
) -> None:
    back_up(data, arm_file, tmp_path / "again", None, NOW)
    assert (tmp_path / "again").read_bytes() == plain.read_bytes()


def test_tar_and_sha256sum_read_it_should_unisono_be_gone(tmp_path: Path, plain: Path) -> None:
    """Outside readers: GNU tar, Python's tarfile, coreutils."""
    subprocess.run(["tar", "-xf", plain, "-C", tmp_path], check=True)
    subprocess.run(
        ["sha256sum", "--check", "--strict", "manifest.sha256"], check=True, cwd=tmp_path
    )
    with tarfile.open(plain) as archive:
        members = {one.name: one for one in archive.getmembers()}
        assert all(one.isreg() and one.mode == 0o600 for one in members.values())
    written = contents.decode((tmp_path / "manifest.json").read_bytes())
    assert [one.name for one in written.members] == list(members)[2:]
    listed = "".join(f"{one.sha256}  {one.name}\n" for one in written.members)
    subprocess.run(
        ["sha256sum", "--check", "--strict"],
        input=listed.encode(),
        check=True,
        cwd=tmp_path,
    )
    assert (tmp_path / "arm.toml").read_bytes() == ARM_TEXT


def test_what_is_not_in_it_is_told(tmp_path: Path) -> None:
    arm = full_folder(tmp_path / "data")
    (tmp_path / "data" / "notes.txt").write_text("")
    (tmp_path / "data" / "arm.toml").write_text("of another arm")
    (tmp_path / "data" / "runs-imported" / "why.txt").write_text("")
    made = back_up(tmp_path / "data", arm, tmp_path / "a", None, NOW)
    assert made.left_out == (
        "arm.key", "arm.toml", "cert.pem", "firmware.key", "notes.txt", "server.pem",
        "runs-imported/why.txt",
    )  # fmt: skip
    assert made.size_bytes == (tmp_path / "a").stat().st_size


def test_folder_that_was_never_served_is_restored_too(tmp_path: Path, arm_file: Path) -> None:
    data_folder.make_key(tmp_path / "new")
    back_up(tmp_path / "new", arm_file, tmp_path / "a", PASSPHRASE, NOW)
    done = restore(tmp_path / "a", tmp_path / "again", lambda: PASSPHRASE, NOW)
    assert set(everything(tmp_path / "again")) == {"arm.key", "arm.toml"}
    assert done.manifest.revision is None


def test_keys_may_be_left_in_the_file(tmp_path: Path, data: Path, keyed: Path) -> None:
    done = restore(keyed, tmp_path / "data", None, NOW)
    assert done.keys == ()
    assert not {"arm.key", "firmware.key"} & set(everything(tmp_path / "data"))
    assert rows(tmp_path / "data") == rows(data)


async def test_copy_is_of_one_instant_and_has_all_that_was_confirmed(tmp_path: Path) -> None:
    """Two settings, pages apart, that are always written together are the same in every copy."""
    arm = await asyncio.to_thread(full_folder, tmp_path / "data")
    store, confirmed, ended = Store(tmp_path / "data"), 0, asyncio.Event()

    def both(connection: Connection, value: int) -> None:
        settings.put(connection, "one", [value] * 5_000)
        settings.put(connection, "other", [value] * 5_000)

    async def write() -> None:
        nonlocal confirmed
        while not ended.is_set():
            value = confirmed + 1
            await store.write(lambda connection, value=value: both(connection, value))  # type: ignore[misc]
            confirmed += 1

    writing = asyncio.create_task(write())
    seen = []
    for number in range(8):
        made, before = tmp_path / f"{number}.backup", confirmed
        await asyncio.to_thread(back_up, tmp_path / "data", arm, made, None, NOW)
        restore(made, tmp_path / f"{number}", None, NOW)
        with closing(sqlite3.connect(tmp_path / f"{number}" / "unisono.db")) as copied:
            found = dict(copied.execute("SELECT key, value FROM settings"))
        assert found.get("one") == found.get("other")
        seen.append(json.loads(found.get("one", "[0]"))[0])
        assert before <= seen[-1] <= confirmed + 1
    ended.set()
    await writing
    await store.close()
    assert len(set(seen)) > 1  # it was written meanwhile


async def test_older_database_is_restored_as_it_is_and_brought_up_to_date_by_the_next_start(
    tmp_path: Path, arm_file: Path
) -> None:
    data_folder.make_key(tmp_path / "old")
    make_file(tmp_path / "old" / sqlite_file.FILE)
    engine = engine_of(tmp_path / "old" / sqlite_file.FILE, writes=True)
    with engine.begin() as connection:
        migrate(connection, "0002")
        row = "INSERT INTO runs VALUES (7, 'a.nc', 'M2', 'finished', NULL, NULL, '{}')"
        connection.exec_driver_sql(row)
    engine.dispose()
    back_up(tmp_path / "old", arm_file, tmp_path / "a", None, NOW)
    done = restore(tmp_path / "a", tmp_path / "data", None, NOW)
    assert done.manifest.revision == "0002"
    assert rows(tmp_path / "data") == rows(tmp_path / "old")
    store = Store(tmp_path / "data")
    assert store.last_run == 7
    await store.close()


def test_database_that_is_damaged_is_told_and_not_kept_as_if_it_were_sound(
    tmp_path: Path, arm_file: Path, data: Path
) -> None:
    shutil.copytree(data, tmp_path / "data")
    path = tmp_path / "data" / "unisono.db"
    with closing(sqlite3.connect(path)) as database:
        (size,) = database.execute("PRAGMA page_size").fetchone()
        wanted = "SELECT rootpage FROM sqlite_schema WHERE name = 'texts'"
        (page,) = database.execute(wanted).fetchone()
    content = bytearray(path.read_bytes())
    # Not one that is read as the database is opened: that is told as such.
    content[(page - 1) * size : page * size] = bytes(size)
    path.write_bytes(content)
    with pytest.raises(BackupError, match=r"no backup is made: .*unisono\.db.* is damaged"):
        back_up(tmp_path / "data", arm_file, tmp_path / "a", None, NOW)
    assert not (tmp_path / "a").exists()
