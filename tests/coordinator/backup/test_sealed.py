"""Keys under a passphrase, held against RFC 7914 and opened by its document alone."""

import hashlib
import json

import pytest
from cryptography.hazmat.primitives.ciphers.aead import ChaCha20Poly1305
from hypothesis import given
from hypothesis import strategies as st

from coordinator.backup import sealed
from coordinator.backup.sealed import NotSealedSo, derive, seal, unseal

SECRETS = {"arm.key": "00" * 32 + "\n", "server.pem": "-----BEGIN Ä"}
AROUND = b"all else that the manifest says"


@pytest.mark.parametrize(
    ("passphrase", "salt", "cost", "block_size", "parallel", "begins"),
    [
        (b"", b"", 16, 1, 1, "77d6576238657b203b19ca42c18a0497f16b4844e3074ae8dfdffa3fede21442"),
        (
            b"password", b"NaCl", 1024, 8, 16,
            "fdbabe1c9d3472007856e7190d01e9fe7c6ad7cbc8237830e77376634b373162",
        ),
        (
            b"pleaseletmein", b"SodiumChloride", 16384, 8, 1,
            "7023bdcb3afd7348461c06cd81fd38ebfda8fbba904f8e3ea9b543f6545da1f2",
        ),
    ],
)  # fmt: skip
def test_key_is_made_as_rfc_7914_says(
    passphrase: bytes, salt: bytes, cost: int, block_size: int, parallel: int, begins: str
) -> None:
    """Section 12, of whose 64 bytes the first 32 are those of a key of 32 (RFC 8018, 5.2)."""
    assert derive(passphrase, salt, cost, block_size, parallel).hex() == begins


def test_what_is_sealed_is_opened_by_what_the_document_says_alone() -> None:
    """docs/backup.md: another implementation of scrypt, and the parts by their places."""
    made = seal(SECRETS, "prick out seedlings", AROUND)
    key = hashlib.scrypt(
        b"prick out seedlings", salt=made[:32], n=131072, r=8, p=1, maxmem=1 << 28, dklen=32
    )
    text = ChaCha20Poly1305(key).decrypt(made[32:44], made[44:], AROUND)
    assert json.loads(text) == SECRETS


def test_only_its_passphrase_opens_it_however_its_letters_are_typed() -> None:
    made = seal(SECRETS, "S\u00e4mlinge pikieren", AROUND)
    assert unseal(made, "Sa\u0308mlinge pikieren", AROUND) == SECRETS
    with pytest.raises(NotSealedSo):
        unseal(made, "S\u00e4mlinge pikieren ", AROUND)
    with pytest.raises(NotSealedSo):
        unseal(made, "S\u00e4mlinge pikieren", AROUND + b" ")


def test_the_same_secrets_are_never_sealed_into_the_same_bytes() -> None:
    one, other = (seal(SECRETS, "prick out seedlings", AROUND) for _ in range(2))
    assert one[:32] != other[:32]
    assert one[32:44] != other[32:44]
    assert one[44:] != other[44:]


@given(st.integers(0, 10_000), st.integers(1, 255))
def test_no_byte_of_it_can_be_another(at: int, flip: int) -> None:
    # A salt that is another gives another key; the cost, which the key has anyway, is left out.
    made = bytearray(_cheap_seal())
    made[at % len(made)] ^= flip
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sealed, "COST", 2)
        with pytest.raises(NotSealedSo):
            unseal(bytes(made), "prick out seedlings", AROUND)


@pytest.mark.parametrize("length", [0, 32, 59])
def test_what_is_too_short_to_be_sealed_is_not(length: int) -> None:
    with pytest.raises(NotSealedSo):
        unseal(bytes(length), "prick out seedlings", AROUND)


def _cheap_seal() -> bytes:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sealed, "COST", 2)
        return seal(SECRETS, "prick out seedlings", AROUND)
