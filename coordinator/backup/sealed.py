"""Secrets under a passphrase: scrypt (RFC 7914) makes a key, ChaCha20-Poly1305 (RFC 8439) seals.

salt               32 bytes, random
nonce              12 bytes, random
sealed             JSON of file names to their texts, and a tag of 16 bytes

The tag covers all else that the manifest says too: with the right passphrase, a backup that
somebody has altered on purpose, hashes included, is noticed.
"""

import json
import os
import unicodedata
from typing import Final

from coordinator.backup.contents import SECRETS

PASSPHRASE_LETTERS_MIN: Final = 15
"""NIST SP 800-63B-4 asks as much of a password that is all there is (from memory); here whoever has
the file may try as often as they like."""
COST: Final = 1 << 17
"""N of scrypt: 128 MiB and some tenths of a second a guess; OWASP's advice of 2024, from memory."""
BLOCK_SIZE: Final = 8
PARALLEL: Final = 1
_SALT: Final = 32
_NONCE: Final = 12
_TAG: Final = 16


class NotSealedSo(Exception):
    """The passphrase is another one, or what was sealed or its surroundings were altered."""


def seal(texts: dict[str, str], passphrase: str, surroundings: bytes) -> bytes:
    """What only the passphrase opens, and only in the same surroundings."""
    from cryptography.hazmat.primitives.ciphers.aead import ChaCha20Poly1305

    salt, nonce = os.urandom(_SALT), os.urandom(_NONCE)
    text = json.dumps(texts).encode()
    made = ChaCha20Poly1305(_key(passphrase, salt)).encrypt(nonce, text, surroundings)
    return salt + nonce + made


def unseal(sealed: bytes, passphrase: str, surroundings: bytes) -> dict[str, str]:
    """What was sealed. Raises NotSealedSo."""
    from cryptography.exceptions import InvalidTag
    from cryptography.hazmat.primitives.ciphers.aead import ChaCha20Poly1305

    if len(sealed) < _SALT + _NONCE + _TAG:
        raise NotSealedSo
    salt, nonce, made = sealed[:_SALT], sealed[_SALT:][:_NONCE], sealed[_SALT + _NONCE :]
    try:
        text = ChaCha20Poly1305(_key(passphrase, salt)).decrypt(nonce, made, surroundings)
    except InvalidTag:
        raise NotSealedSo from None
    texts = json.loads(text)  # who sealed it knew the passphrase, and is trusted as far as names go
    if not isinstance(texts, dict) or not set(texts) <= set(SECRETS):
        raise NotSealedSo
    return {name: str(one) for name, one in texts.items()}


def derive(passphrase: bytes, salt: bytes, cost: int, block_size: int, parallel: int) -> bytes:
    """32 bytes by scrypt."""
    from cryptography.hazmat.primitives.kdf.scrypt import Scrypt

    return Scrypt(salt, 32, cost, block_size, parallel).derive(passphrase)


def _key(passphrase: str, salt: bytes) -> bytes:
    # Another computer may type an accented letter as two characters (Unicode Annex 15).
    typed = unicodedata.normalize("NFC", passphrase).encode()
    return derive(typed, salt, COST, BLOCK_SIZE, PARALLEL)
