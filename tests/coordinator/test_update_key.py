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

# RFC 8032, section 7.1, TEST 2 and TEST 3 (from memory): secret half, public half, message,
# signature.
RFC_8032 = [
    (
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        (
            "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da"
            "085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00"
        ),
    ),
    (
        "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "af82",
        (
            "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac"
            "18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a"
        ),
    ),
]


def folder_with(tmp_path: Path, secret: str, public: str) -> Path:
    (tmp_path / SECRET_FILE).write_text(secret + "\n")
    (tmp_path / SECRET_FILE).chmod(0o600)
    (tmp_path / PUBLIC_FILE).write_text(public + "\n")
    return tmp_path


@pytest.mark.parametrize(("secret", "public", "message", "signature"), RFC_8032)
def test_signatures_are_those_of_rfc_8032(
    tmp_path: Path, secret: str, public: str, message: str, signature: str
) -> None:
    folder, said = folder_with(tmp_path, secret, public), bytes.fromhex(message)
    assert sign(folder, said).hex() == signature
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
