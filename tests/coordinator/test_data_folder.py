"""Key, id, lock and whole files."""

import errno
import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from coordinator.config.data_folder import (
    DataFolderError,
    coordinator_id,
    locked,
    make_key,
    read_key,
    write_whole,
)


def test_new_key_is_random_and_for_its_owner_only(tmp_path: Path) -> None:
    before = os.umask(0)  # the mode must not depend on it
    try:
        paths = [make_key(tmp_path / name) for name in ("a", "b")]
    finally:
        os.umask(before)
    assert [stat.S_IMODE(path.stat().st_mode) for path in paths] == [0o600, 0o600]
    keys = {read_key(tmp_path / name) for name in ("a", "b")}
    assert {len(key) for key in keys} == {32}
    assert len(keys) == 2


def test_key_is_never_written_over(tmp_path: Path) -> None:
    path = make_key(tmp_path)
    text = path.read_text()
    with pytest.raises(DataFolderError, match="is there already"):
        make_key(tmp_path)
    assert path.read_text() == text


@pytest.mark.parametrize("mode", [0o640, 0o604, 0o620, 0o644])
def test_key_that_others_can_reach_is_refused(tmp_path: Path, mode: int) -> None:
    make_key(tmp_path).chmod(mode)
    with pytest.raises(DataFolderError, match=f"mode {mode:04o}.*chmod 600"):
        read_key(tmp_path)


@pytest.mark.parametrize("text", ["", "ab" * 31, "zz" * 32, "ab" * 33, "é" * 64])
def test_what_is_no_key_is_refused(tmp_path: Path, text: str) -> None:
    make_key(tmp_path).write_text(text)
    with pytest.raises(DataFolderError, match="no key of 64 hex digits"):
        read_key(tmp_path)


def test_absent_key_says_how_to_make_one(tmp_path: Path) -> None:
    with pytest.raises(DataFolderError, match="unisono key new --data"):
        read_key(tmp_path)


def test_coordinator_id_is_lasting_and_its_own(tmp_path: Path) -> None:
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    first = coordinator_id(tmp_path / "a")
    assert (len(first), coordinator_id(tmp_path / "a")) == (16, first)
    assert coordinator_id(tmp_path / "b") != first
    (tmp_path / "a" / "coordinator.id").write_text("x")
    with pytest.raises(DataFolderError, match="no id of 32 hex digits"):
        coordinator_id(tmp_path / "a")


def test_lock_is_held_by_one_and_free_again_after_it(tmp_path: Path) -> None:
    taken = pytest.raises(DataFolderError, match=f"process {os.getpid()}, is using")
    with locked(tmp_path), taken:
        locked(tmp_path).__enter__()
    with locked(tmp_path):
        pass


def test_file_is_replaced_whole(tmp_path: Path) -> None:
    path = tmp_path / "a.json"
    for text in ("one", "another"):
        write_whole(path, text)
        assert path.read_text() == text
    assert [found.name for found in tmp_path.iterdir()] == ["a.json"]
    with pytest.raises(DataFolderError, match="cannot be written"):
        write_whole(tmp_path / "absent" / "a", "")


def test_lock_that_another_process_holds_names_it_and_ends_with_it(tmp_path: Path) -> None:
    hold = (
        "import sys; from pathlib import Path; from coordinator.config.data_folder import locked\n"
    )
    hold += "with locked(Path(sys.argv[1])): print('held', flush=True); sys.stdin.read()"
    with subprocess.Popen(
        [sys.executable, "-c", hold, str(tmp_path)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
    ) as other:
        assert other.stdout is not None
        assert other.stdout.readline() == b"held\n"
        with pytest.raises(DataFolderError, match=f"process {other.pid}, is using"):
            locked(tmp_path).__enter__()
        other.kill()  # as by kill -9: nothing is tidied up
    with locked(tmp_path):
        assert (tmp_path / "lock").read_text() == f"{os.getpid()}\n"


def _full(_descriptor: int) -> None:
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def test_full_disk_leaves_the_old_file_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.json"
    write_whole(path, "old")
    with monkeypatch.context() as patched:
        patched.setattr(os, "fsync", _full)
        with pytest.raises(DataFolderError, match="cannot be written: No space left"):
            write_whole(path, "new and longer")
    assert path.read_text() == "old"
    write_whole(path, "new")
    assert path.read_text() == "new"


def test_key_that_a_full_disk_cut_short_does_not_bar_another(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patched:
        patched.setattr(os, "fsync", _full)
        with pytest.raises(DataFolderError, match="cannot be written: No space left"):
            make_key(tmp_path)
    make_key(tmp_path)
    assert len(read_key(tmp_path)) == 32
