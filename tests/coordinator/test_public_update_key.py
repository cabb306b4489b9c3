"""The public half of the key that signs firmware, as joints on this machine get it."""

from pathlib import Path

import pytest

from coordinator.config.data_folder import DataFolderError
from coordinator.config.update_key import PUBLIC_FILE, public_update_key


def test_folder_without_one_has_none(tmp_path: Path) -> None:
    assert public_update_key(tmp_path) is None


@pytest.mark.parametrize("text", ["ab" * 32 + "\n", " " + "AB" * 32, "ab" * 32])
def test_key_is_read(tmp_path: Path, text: str) -> None:
    (tmp_path / PUBLIC_FILE).write_text(text)
    assert public_update_key(tmp_path) == b"\xab" * 32


@pytest.mark.parametrize("data", [b"", b"ab" * 31, b"ab" * 33, b"zz" * 32, b"\xff" * 64])
def test_what_is_no_key_is_told(tmp_path: Path, data: bytes) -> None:
    (tmp_path / PUBLIC_FILE).write_bytes(data)
    with pytest.raises(DataFolderError, match=r"firmware\.pub holds no key of 64 hex digits"):
        public_update_key(tmp_path)


def test_what_is_no_file_is_told(tmp_path: Path) -> None:
    (tmp_path / PUBLIC_FILE).mkdir()
    with pytest.raises(DataFolderError, match=r"firmware\.pub"):
        public_update_key(tmp_path)
