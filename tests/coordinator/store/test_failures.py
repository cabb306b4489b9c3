"""Files and disks that fail: one sentence that names the file and the cause, and no other error.

SQLite's result codes: sqlite.org/rescode.html. A file size limit (setrlimit(2)) stands in for a
disk that takes no more; max_page_count (sqlite.org/pragma.html) makes SQLite say that it is full.
"""

import asyncio
import os
import random
import resource
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest
from sqlalchemy import Connection

from coordinator.config.data_folder import DataFolderError
from coordinator.history.cells import Cell, CellKey, cell_of
from coordinator.history.collector import Collector
from coordinator.history.levels import look_at
from coordinator.history.quantities import Counts
from coordinator.store import Store, StoreError, events, homings, joint_history, runs, writer
from tests.coordinator.store.test_events import UTC, add
from tests.coordinator.store.test_runs import report

FILE_ONLY = pytest.mark.parametrize("database", [None])
ROOT = Path(__file__).parents[3]
POWERLESS = Path(__file__).with_name("powerless.py")


async def filled(folder: Path) -> Path:
    """A closed database of many pages."""
    store = Store(folder)
    for run in range(1, 30):
        told = report(run, holds=["x" * 3000])
        await store.write(lambda connection, told=told: runs.begin(connection, told, "M2\n"))  # type: ignore[misc]
    homing = {"number": 1, "state": "running", "message": "", "joints": {}}
    await store.write(lambda connection: homings.save(connection, homing, UTC))
    await store.close()
    return folder / "unisono.db"


def sentence_of(folder: Path) -> str:
    """What opening it says, which must be one line that names the file, and an expected error."""
    with pytest.raises(StoreError) as caught:
        Store(folder)
    said = str(caught.value)
    assert isinstance(caught.value, DataFolderError)  # so that `unisono serve` exits with 2
    assert said.startswith(str(folder / "unisono.db"))
    assert "\n" not in said
    return said


@pytest.mark.parametrize("size", [10, 4096, 200_000])
def test_file_of_random_bytes_is_told_as_damaged_and_left_as_it_is(
    tmp_path: Path, size: int
) -> None:
    garbage = random.Random(size).randbytes(size)
    (tmp_path / "unisono.db").write_bytes(garbage)
    assert "it is damaged" in sentence_of(tmp_path)
    assert (tmp_path / "unisono.db").read_bytes() == garbage


async def test_file_that_lacks_its_end_is_told_as_damaged(tmp_path: Path) -> None:
    path = await filled(tmp_path)
    whole = path.read_bytes()
    for size in (50, 1000, 4096, 5000, len(whole) // 2, len(whole) - 4096):
        path.write_bytes(whole[:size])
        assert "damaged" in sentence_of(tmp_path), size
        assert path.read_bytes() == whole[:size]


async def test_bytes_that_changed_anywhere_let_no_other_error_out(tmp_path: Path) -> None:
    path = await filled(tmp_path)
    whole = path.read_bytes()
    chance, told = random.Random(1), 0
    for _ in range(30):
        damaged = bytearray(whole)
        for _ in range(chance.choice((1, 8, 64))):
            damaged[chance.randrange(len(damaged))] = chance.randrange(256)
        path.write_bytes(damaged)
        try:
            store = Store(tmp_path)
        except StoreError:
            told += 1
            continue
        for run in range(1, 30):
            try:
                await store.read(lambda connection: runs.summaries(connection, None, 100))
                await store.read(lambda connection, run=run: runs.load(connection, run))  # type: ignore[misc]
            except StoreError:
                told += 1
        await store.close()
    assert told


async def test_what_sqlite_says_of_damage_in_bytes_that_are_no_text_is_told_as_damage(
    tmp_path: Path,
) -> None:
    path = await filled(tmp_path)
    # SQLite tells the word at which it can no longer read how the table was made.
    damaged = path.read_bytes().replace(b"CREATE TABLE settings", b"CREATE \xe8ABLE settings")
    path.write_bytes(damaged)
    assert "it is damaged" in sentence_of(tmp_path)
    assert path.read_bytes() == damaged


def test_folder_in_place_of_the_file_is_told(tmp_path: Path) -> None:
    (tmp_path / "unisono.db").mkdir()
    assert sentence_of(tmp_path).endswith("unisono.db cannot be opened: Is a directory")


def test_data_folder_that_is_not_there_is_told(tmp_path: Path) -> None:
    assert "cannot be opened: No such file or directory" in sentence_of(tmp_path / "absent")


@contextmanager
def modes(folder: Path, folder_mode: int, file_mode: int | None) -> Iterator[None]:
    """A folder and a database in it with these modes."""
    if file_mode is not None:
        (folder / "unisono.db").chmod(file_mode)
    folder.chmod(folder_mode)
    try:
        yield
    finally:
        folder.chmod(0o700)


@pytest.mark.parametrize(
    ("folder_mode", "file_mode", "says"),
    [
        (0o700, 0o400, "unisono.db cannot be opened: Permission denied"),
        (0o500, 0o600, "it or its folder is read-only"),
        (0o500, None, "unisono.db cannot be opened: Permission denied"),
    ],
)
async def test_file_or_folder_that_is_read_only_is_told(
    tmp_path: Path, folder_mode: int, file_mode: int | None, says: str
) -> None:
    if file_mode is not None:
        await filled(tmp_path)
    with modes(tmp_path, folder_mode, file_mode):
        said = subprocess.run(
            [sys.executable, str(POWERLESS), str(tmp_path)],
            capture_output=True,
            text=True,
            check=False,
            env={**os.environ, "PYTHONPATH": str(ROOT)},
        )
    assert (said.returncode, said.stderr) == (0, "")
    assert says in said.stdout
    assert str(tmp_path / "unisono.db") in said.stdout


@contextmanager
def no_file_longer_than(size: int) -> Iterator[None]:
    """Whatever this process writes, no file gets longer than this."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


def test_disk_that_takes_nothing_at_the_start_is_told_and_next_time_all_is_well(
    tmp_path: Path,
) -> None:
    for size in (0, 4096, 20_000):
        with no_file_longer_than(size):
            said = sentence_of(tmp_path)
        assert "its disk fails" in said
    asyncio.run(Store(tmp_path).close())


@FILE_ONLY
async def test_disk_that_takes_no_more_fails_that_write_and_goes_on_once_it_does(
    store: Store,
) -> None:
    first = await store.write(lambda connection: add(connection, "before"))
    with no_file_longer_than(Path(str(store.place)).with_name("unisono.db-wal").stat().st_size):
        for _ in range(3):
            with pytest.raises(StoreError, match=r"unisono\.db cannot be used: its disk fails"):
                await store.write(lambda connection: add(connection, "x" * 10_000))
        # What is committed is there to be read.
        (kept,) = await store.read(lambda connection: events.newest(connection, None, 9))
        assert kept["id"] == first
    await store.write(lambda connection: add(connection, "after"))
    kept_now = await store.read(lambda connection: events.newest(connection, None, 9))
    assert [one["message"] for one in kept_now] == ["after", "before"]


@FILE_ONLY
async def test_full_disk_is_told_as_such(store: Store) -> None:
    def fill(connection: Connection) -> None:
        (pages,) = connection.exec_driver_sql("PRAGMA page_count").one()
        connection.exec_driver_sql(f"PRAGMA max_page_count = {pages}")
        add(connection, "x" * 100_000)

    with pytest.raises(StoreError, match="there is no space left on its disk"):
        await store.write(fill)


def past_of(starts: int, begin_s: int = 1_779_998_400) -> dict[CellKey, Cell]:
    """Cells of a joint that began to turn once in each of so many seconds."""
    collector = Collector(most=starts)
    for after_s in range(starts):
        sample = cell_of((4_000, 24_000, 9_000, 0, 400, None, None), Counts(starts=1))
        collector.add("elbow", begin_s + after_s, sample)
    return collector.drained()


@FILE_ONLY
async def test_history_that_a_full_disk_does_not_take_leaves_that_before_it_as_it_was(
    store: Store,
) -> None:
    await store.write(lambda connection: joint_history.add(connection, past_of(50)))

    def fill(connection: Connection) -> None:
        (pages,) = connection.exec_driver_sql("PRAGMA page_count").one()
        connection.exec_driver_sql(f"PRAGMA max_page_count = {pages}")
        joint_history.add(connection, past_of(5_000))

    with pytest.raises(StoreError, match="there is no space left on its disk"):
        await store.write(fill)
    _, counts = await store.read(lambda connection: joint_history.in_all(connection, "elbow"))
    assert counts.starts == 50
    room = f"PRAGMA max_page_count = {2**30}"
    await store.write(lambda connection: connection.exec_driver_sql(room).close())
    await store.write(lambda connection: joint_history.add(connection, past_of(5_000)))
    _, counts = await store.read(lambda connection: joint_history.in_all(connection, "elbow"))
    assert counts.starts == 5_050


async def test_history_in_a_damaged_file_lets_no_other_error_out(
    tmp_path: Path,
) -> None:
    store = Store(tmp_path)
    await store.write(lambda connection: joint_history.add(connection, past_of(3_000)))
    await store.close()
    path = tmp_path / "unisono.db"
    whole, chance, told = path.read_bytes(), random.Random(2), 0
    look = look_at(1_779_998_400, 1_780_002_000, 400, 1_780_002_000)
    for _ in range(20):
        damaged = bytearray(whole)
        for _ in range(64):
            damaged[chance.randrange(4_096, len(damaged))] = chance.randrange(256)
        path.write_bytes(damaged)
        try:
            store = Store(tmp_path)
        except StoreError:
            told += 1
            continue
        try:
            await store.read(lambda connection: joint_history.stretches(connection, "elbow", look))
            await store.read(lambda connection: joint_history.in_all(connection, "elbow"))
        except StoreError:
            told += 1
        await store.close()
    assert told


@FILE_ONLY
async def test_database_that_another_program_keeps_locked_is_told(store: Store) -> None:
    with closing(sqlite3.connect(str(store.place), isolation_level=None)) as other:
        await store.write(
            lambda connection: connection.exec_driver_sql("PRAGMA busy_timeout = 1").close()
        )
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(StoreError, match="another program keeps it locked"):
            await store.write(lambda connection: add(connection, "x"))
        # Those that go into one transaction wait for the lock once, not one after another.
        together = [writer._Write(lambda connection: add(connection, "x")) for _ in range(3)]
        assert store._writer._commit(together)
        assert all("keeps it locked" in str(one.done.exception(0)) for one in together)
        other.execute("ROLLBACK")
        await store.write(lambda connection: add(connection, "x"))


async def test_closed_store_says_so(tmp_path: Path) -> None:
    store = Store(tmp_path)
    await store.close()
    with pytest.raises(StoreError, match="is closed: the coordinator is ending"):
        await store.write(lambda connection: add(connection, "x"))
    with pytest.raises(StoreError, match="is closed"):
        await store.read(lambda connection: runs.summaries(connection, None, 100))
