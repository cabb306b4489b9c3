"""The key that signs firmware: made once, for its owner's eyes, and never shown."""

import os
import stat
from pathlib import Path

import pytest

from coordinator.config.data_folder import DataFolderError
from coordinator.config.update_key import (
    PUBLIC_FILE,
    SECRET_FILE,
    make_update_key,
    public_update_key,
    sign,
)
from protocol.image import is_signed
from tests.reference.rfc_vectors import ED25519


def folder_with(tmp_path: Path, secret: str, public: str) -> Path:
    (tmp_path / SECRET_FILE).write_text(secret + "\n")
    (tmp_path / SECRET_FILE).chmod(0o600)
    (tmp_path / PUBLIC_FILE).write_text(public + "\n")
    return tmp_path


@pytest.mark.parametrize(("secret", "public", "message", "signature"), ED25519)
def test_signatures_are_those_of_rfc_8032(
    tmp_path: Path, secret: str, public: str, message: bytes, signature: str
) -> None:
    folder = folder_with(tmp_path, secret, public)
    assert sign(folder, message).hex() == signature
    key = public_update_key(folder)
    assert key is not None
    assert key.hex() == public


def test_a_new_pair_is_random_fits_and_its_secret_half_is_for_its_owner_only(
    tmp_path: Path,
) -> None:
    before = os.umask(0)  # the mode must not depend on it
    try:
        pairs = [make_update_key(tmp_path / name) for name in ("a", "b")]
    finally:
        os.umask(before)
    for (secret, public), name in zip(pairs, ("a", "b"), strict=True):
        assert stat.S_IMODE(secret.stat().st_mode) == 0o600
        assert stat.S_IMODE(public.stat().st_mode) == 0o644
        assert len(secret.read_text()) == len(public.read_text()) == 65
        key = public_update_key(tmp_path / name)
        assert key is not None
        assert is_signed(b"header", sign(tmp_path / name, b"header"), key)
    assert pairs[0][0].read_text() != pairs[1][0].read_text()


@pytest.mark.parametrize("kept", [SECRET_FILE, PUBLIC_FILE])
def test_neither_half_is_written_over_and_nothing_is_made_beside_it(
    tmp_path: Path, kept: str
) -> None:
    (tmp_path / kept).write_text("what was there")
    with pytest.raises(DataFolderError, match=f"{kept} is there already"):
        make_update_key(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == [kept]
    assert (tmp_path / kept).read_text() == "what was there"


def test_a_folder_without_a_key_says_how_to_make_one(tmp_path: Path) -> None:
    assert public_update_key(tmp_path) is None
    with pytest.raises(DataFolderError, match="unisono key firmware --data"):
        sign(tmp_path, b"header")


@pytest.mark.parametrize("mode", [0o640, 0o604])
def test_a_secret_half_that_others_can_reach_signs_nothing(tmp_path: Path, mode: int) -> None:
    make_update_key(tmp_path)[0].chmod(mode)
    with pytest.raises(DataFolderError, match=f"mode {mode:04o}.*sign firmware.*chmod 600"):
        sign(tmp_path, b"header")
