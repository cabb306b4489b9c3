"""Disks that are full and folders that are read-only, at either end."""

import os
import resource
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from coordinator.backup.errors import BackupError
from coordinator.backup.make import back_up
from coordinator.backup.restore import restore
from tests.coordinator.backup.kit import NOW, everything, files, rows

ROOT = Path(__file__).parents[3]
POWERLESS = Path(__file__).with_name("powerless.py")


@contextmanager
def no_file_longer_than(size: int) -> Iterator[None]:
    """Whatever this process writes, no file gets longer than this."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


@pytest.mark.parametrize("size", [0, 20_000, 75_000])
def test_disk_that_takes_no_more_of_a_backup_is_told_and_nothing_is_left(
    tmp_path: Path, arm_file: Path, data: Path, plain: Path, size: int
) -> None:
    assert size < plain.stat().st_size
    before = files(data), rows(data)
    with (
        no_file_longer_than(size),
        pytest.raises(BackupError, match=r"cannot be (written: File too large|copied to )") as told,
    ):
        back_up(data, arm_file, tmp_path / "made", None, NOW)
    assert str(tmp_path) in str(told.value)
    assert list(tmp_path.iterdir()) == []
    assert (files(data), rows(data)) == before
    back_up(data, arm_file, tmp_path / "made", None, NOW)


@pytest.mark.parametrize("size", [0, 5_000, 20_000])
def test_disk_that_takes_no_more_of_what_is_restored_is_told_and_nothing_is_changed(
    tmp_path: Path, plain: Path, size: int
) -> None:
    restore(plain, tmp_path / "data", None, NOW)
    before = everything(tmp_path)
    with (
        no_file_longer_than(size),
        pytest.raises(BackupError, match=r"cannot be (written|opened): File too large"),
    ):
        restore(plain, tmp_path / "new", None, NOW)
    (tmp_path / "data" / "lock").touch()
    with (
        no_file_longer_than(max(size, 64)),  # the lock's few bytes
        pytest.raises(BackupError, match="cannot be written: File too large"),
    ):
        restore(plain, tmp_path / "data", None, NOW, replace=True)
    after = everything(tmp_path)
    assert after.pop("data/lock")
    assert after == before
    assert not (tmp_path / "new").exists()


@pytest.fixture(name="copied")
def copy_of_the_folder(tmp_path: Path, data: Path) -> Iterator[Path]:
    shutil.copytree(data, tmp_path / "read-only" / "data")
    yield tmp_path / "read-only" / "data"
    for folder in (tmp_path / "read-only", tmp_path / "read-only" / "data"):
        folder.chmod(0o700)


def powerless(*words: object) -> str:
    """What a process is told that may no more than file modes say."""
    done = subprocess.run(
        [sys.executable, str(POWERLESS), *map(str, words)],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )
    assert (done.returncode, done.stderr) == (0, "")
    return done.stdout


def test_read_only_folder_is_backed_up_with_nothing_made_in_it(
    tmp_path: Path, arm_file: Path, data: Path, copied: Path, plain: Path
) -> None:
    before = everything(copied)
    (copied / "unisono.db").chmod(0o400)
    copied.chmod(0o500)
    assert powerless("backup", copied, arm_file, tmp_path / "made") == "done"
    assert (tmp_path / "made").read_bytes() == plain.read_bytes()
    assert everything(copied) == before


def test_backup_leaves_nothing_in_the_folder(tmp_path: Path, arm_file: Path, copied: Path) -> None:
    for name in ("unisono.db-wal", "unisono.db-shm"):
        (copied / name).unlink(missing_ok=True)
    before = everything(copied)
    back_up(copied, arm_file, tmp_path / "made", None, NOW)
    assert everything(copied) == before


def test_place_that_is_read_only_is_told(
    tmp_path: Path, arm_file: Path, data: Path, copied: Path, plain: Path
) -> None:
    place = copied.parent
    place.chmod(0o500)
    told = powerless("backup", data, arm_file, place / "made")
    assert "made" in told
    assert told.endswith("cannot be written: Permission denied")
    told = powerless("restore", plain, place / "new")
    assert told.endswith("cannot be written: Permission denied")
    assert [one.name for one in place.iterdir()] == ["data"]
    place.chmod(0o700)
    before = everything(copied)
    place.chmod(0o500)
    assert "cannot be written: Permission denied" in powerless("restore", plain, copied)
    place.chmod(0o700)
    after = everything(copied)
    after.pop("lock", None)
    before.pop("lock", None)
    assert after == before


def test_file_that_may_not_be_read_is_told(tmp_path: Path, arm_file: Path, copied: Path) -> None:
    (copied / "tokens.json").chmod(0o000)
    told = powerless("backup", copied, arm_file, tmp_path / "made")
    assert told == f"{copied / 'tokens.json'} cannot be read: Permission denied"
    assert not (tmp_path / "made").exists()
