"""The key that signs firmware (Ed25519, RFC 8032), in the data folder, and what is made with it.

firmware.key     the secret half, 32 bytes in hex, for the owner's eyes only
firmware.pub     the public half, 32 bytes in hex, which joints get over their cables

It belongs to who owns the arm, not to the coordinator, which never reads the secret half: it may be
kept on another computer, with `firmware.pub` alone in the coordinator's folder.
"""

import os
from pathlib import Path
from typing import Final

from coordinator.config.data_folder import DataFolderError, read_hex, read_secret, write_new
from protocol.image import PUBLIC_KEY_BYTES

SECRET_FILE: Final = "firmware.key"
PUBLIC_FILE: Final = "firmware.pub"


def make_update_key(folder: Path) -> tuple[Path, Path]:
    """Make the pair; the files of its secret and its public half.

    Raises DataFolderError if there is either already, with nothing changed.
    """
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    secret, public = folder / SECRET_FILE, folder / PUBLIC_FILE
    if os.path.lexists(public):
        raise DataFolderError(_taken(public))
    key = Ed25519PrivateKey.generate()
    write_new(secret, key.private_bytes_raw().hex() + "\n", 0o600, _taken(secret))
    text = key.public_key().public_bytes_raw().hex() + "\n"
    try:
        write_new(public, text, 0o644, _taken(public))
    except DataFolderError:
        secret.unlink(missing_ok=True)  # no joint trusts it yet, and half a pair bars a new one
        raise
    return secret, public


def sign(folder: Path, header: bytes) -> bytes:
    """The signature of a header, 64 bytes. Raises DataFolderError where the folder has no key."""
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    path = folder / SECRET_FILE
    absent = f"there is no key that signs firmware in {folder}"
    way = f"make one with 'unisono key firmware --data {folder}'"
    secret = read_secret(path, f"{absent}: {way}", "sign firmware for it")
    return Ed25519PrivateKey.from_private_bytes(secret).sign(header)


def public_update_key(folder: Path) -> bytes | None:
    """The public half, 32 bytes; None where the folder has none. Raises DataFolderError."""
    path = folder / PUBLIC_FILE
    return read_hex(path, PUBLIC_KEY_BYTES) if os.path.lexists(path) else None


def _taken(path: Path) -> str:
    return (
        f"{path} is there already; joints that trust it take firmware by it alone. Move it away "
        "first if a new key is what you want."
    )
