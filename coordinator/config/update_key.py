"""The key that signs firmware (Ed25519, RFC 8032), in the data folder.

firmware.pub     the public half, 32 bytes in hex, which joints trust
"""

import os
import re
from pathlib import Path
from typing import Final

from coordinator.config.data_folder import DataFolderError
from coordinator.config.regular_file import require_regular

PUBLIC_FILE: Final = "firmware.pub"
UPDATE_KEY_BYTES: Final = 32


def public_update_key(folder: Path) -> bytes | None:
    """The public half, 32 bytes; None where the folder has none. Raises DataFolderError."""
    path = folder / PUBLIC_FILE
    if not os.path.lexists(path):
        return None
    unlike = f"{path} holds no key of {2 * UPDATE_KEY_BYTES} hex digits"
    try:
        require_regular(path)
        text = path.read_text(encoding="ascii").strip()
    except UnicodeDecodeError:
        raise DataFolderError(unlike) from None
    except OSError as error:
        raise DataFolderError(f"{path} cannot be read: {error.strerror}") from error
    if not re.fullmatch(f"[0-9a-fA-F]{{{2 * UPDATE_KEY_BYTES}}}", text):
        raise DataFolderError(unlike)
    return bytes.fromhex(text)
