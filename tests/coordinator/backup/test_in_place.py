"""Where a restored folder goes: into nothing, into an empty folder, or an arm's data's place."""

import errno
import os
from pathlib import Path

import pytest

from coordinator.backup import in_place
from coordinator.backup.errors import BackupError
from coordinator.backup.restore import restore
from coordinator.backup.workplace import workplace
from coordinator.config.data_folder import DataFolderError, locked, make_key
from tests.coordinator.backup.kit import NOW, everything

ASIDE = "data.aside-20261201T083015Z"


def test_empty_folder_is_taken_as_it_is_and_a_link_to_one_stays(
    tmp_path: Path, plain: Path
) -> None:
    (tmp_path / "real").mkdir()
    (tmp_path / "real" / "lock").write_text("1\n")  # of one that was served, and emptied
    (tmp_path / "data").symlink_to("real")
    done = restore(plain, tmp_path / "data", None, NOW)
    assert done.put_aside is None
    assert (tmp_path / "data").is_symlink()
    assert "unisono.db" in everything(tmp_path / "real")


def test_arm_that_is_there_is_left_alone_unless_it_is_said(tmp_path: Path, plain: Path) -> None:
    make_key(tmp_path / "data")
    before = everything(tmp_path)
    with pytest.raises(BackupError, match="has an arm's data in it already; with --replace"):
        restore(plain, tmp_path / "data", None, NOW)
    assert everything(tmp_path) == before


def test_what_was_there_is_put_aside_as_often_as_it_is_asked(tmp_path: Path, plain: Path) -> None:
    make_key(tmp_path / "data")
    key = (tmp_path / "data" / "arm.key").read_text()
    first = restore(plain, tmp_path / "data", None, NOW, replace=True)
    assert first.put_aside == tmp_path / ASIDE
    assert (tmp_path / ASIDE / "arm.key").read_text() == key
    second = restore(plain, tmp_path / "data", None, NOW, replace=True)
    assert second.put_aside == tmp_path / f"{ASIDE}-2"
    assert {one.name for one in tmp_path.iterdir()} == {"data", ASIDE, f"{ASIDE}-2"}


def test_folder_of_something_else_is_never_replaced(tmp_path: Path, plain: Path) -> None:
    (tmp_path / "home").mkdir()
    (tmp_path / "home" / "letters.txt").write_text("dear")
    before = everything(tmp_path)
    for replace in (False, True):
        with pytest.raises(BackupError, match=r"no data folder, .* has 'letters\.txt' in it"):
            restore(plain, tmp_path / "home", None, NOW, replace=replace)
    with pytest.raises(BackupError, match=r"letters\.txt cannot be read: Not a directory"):
        restore(plain, tmp_path / "home" / "letters.txt", None, NOW, replace=True)
    assert everything(tmp_path) == before


def test_folder_that_is_served_is_not_replaced(tmp_path: Path, plain: Path) -> None:
    make_key(tmp_path / "data")
    with locked(tmp_path / "data"):
        before = everything(tmp_path)
        with pytest.raises(DataFolderError, match=f"process {os.getpid()}, is using"):
            restore(plain, tmp_path / "data", None, NOW, replace=True)
        assert everything(tmp_path) == before


def test_two_at_once_do_not_mix(tmp_path: Path, plain: Path) -> None:
    with workplace(tmp_path / "data", "restoring") as place:
        (place / "new").mkdir()
        with pytest.raises(BackupError, match="another process is at work on"):
            restore(plain, tmp_path / "data", None, NOW)
        assert (place / "new").is_dir()
    assert list(tmp_path.iterdir()) == []


def test_rubbish_of_one_that_was_killed_goes_and_what_it_had_in_hand_is_put_aside(
    tmp_path: Path, plain: Path
) -> None:
    (tmp_path / ".data.restoring" / "new").mkdir(parents=True)
    (tmp_path / ".data.restoring" / "new" / "arm.toml").write_text("half")
    make_key(tmp_path / ".data.restored")
    done = restore(plain, tmp_path / "data", None, NOW)
    assert done.left_behind == tmp_path / ASIDE
    assert set(everything(tmp_path / ASIDE)) == {"arm.key"}
    assert {one.name for one in tmp_path.iterdir()} == {"data", ASIDE}


def test_disk_that_cannot_exchange_names_gets_two_renames(
    tmp_path: Path, plain: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(in_place, "_exchange", lambda _one, _other: False)
    make_key(tmp_path / "data")
    done = restore(plain, tmp_path / "data", None, NOW, replace=True)
    assert done.put_aside == tmp_path / ASIDE
    assert (tmp_path / ASIDE / "arm.key").exists()
    assert {one.name for one in tmp_path.iterdir()} == {"data", ASIDE}


def _busy(_one: object, other: object) -> bool:
    raise OSError(errno.EBUSY, os.strerror(errno.EBUSY), str(other))


def test_folder_that_cannot_be_renamed_is_told_and_left_as_it_was(
    tmp_path: Path, plain: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As where it is a disk's mount point, or a volume of a container."""
    monkeypatch.setattr(in_place, "_exchange", _busy)
    make_key(tmp_path / "data")
    (tmp_path / "data" / "lock").touch()
    before = set(everything(tmp_path))
    with pytest.raises(BackupError, match="data cannot be written: Device or resource busy"):
        restore(plain, tmp_path / "data", None, NOW, replace=True)
    assert set(everything(tmp_path)) == before
    assert {one.name for one in tmp_path.iterdir()} == {"data"}


def test_names_change_places_at_one_instant(tmp_path: Path) -> None:
    """renameat2(2) by the real system, which this is about."""
    for name in ("one", "other"):
        (tmp_path / name).mkdir()
        (tmp_path / name / name).touch()
    assert in_place._exchange(tmp_path / "one", tmp_path / "other")
    assert (tmp_path / "one" / "other").exists()
    assert (tmp_path / "other" / "one").exists()
    with pytest.raises(FileNotFoundError):
        in_place._exchange(tmp_path / "one", tmp_path / "nowhere")
