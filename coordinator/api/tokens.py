"""Who may do what where the API is not on loopback: two tokens, kept as hashes.

A token is 256 random bits, so a plain hash of it cannot be searched backwards, and nobody guesses
one. The file is read again when it changes: a new token holds at once, and the old one no more.
"""

import hashlib
import hmac
import json
import logging
import secrets
from enum import StrEnum
from pathlib import Path
from typing import Final

from coordinator.codes.os_words import os_words
from coordinator.config.data_folder import DataFolderError, write_whole

TOKENS_FILE: Final = "tokens.json"
_BYTES: Final = 32
_logger = logging.getLogger(__name__)


class Role(StrEnum):
    """What a client may do."""

    WATCH = "watch"
    """See everything, hold and stop."""
    OPERATE = "operate"
    """Everything."""


class Tokens:
    """The tokens of a data folder."""

    def __init__(self, data: Path) -> None:
        self._path = data / TOKENS_FILE
        self._hashes: dict[Role, str] = {}
        self._read_of: tuple[int, int] | None = None
        self._is_told = False
        """Whether it was said that the file cannot be read any more."""

    def role_of(self, token: str) -> Role | None:
        """What this token allows, None if it is wrong. Raises DataFolderError."""
        try:
            self._read()
        except DataFolderError as error:
            # A disk that fails must not shut out a stop: only a file that can be read voids tokens.
            if not self._hashes:
                raise
            _logger.log(logging.DEBUG if self._is_told else logging.ERROR, "%s", error)
            self._is_told = True
        given = _hash(token)
        found = None
        for role, wanted in self._hashes.items():  # all, so that the time tells nothing
            if hmac.compare_digest(given, wanted):
                found = role
        return found

    def missing(self) -> list[Role]:
        """Roles without a token. Raises DataFolderError."""
        self._read()
        return [role for role in Role if role not in self._hashes]

    def make(self, roles: list[Role]) -> dict[Role, str]:
        """New tokens for these roles, to be shown once; the old ones are void.

        Raises DataFolderError.
        """
        if not roles:
            return {}
        self._read()
        made = {role: secrets.token_urlsafe(_BYTES) for role in roles}
        self._hashes |= {role: _hash(token) for role, token in made.items()}
        write_whole(self._path, json.dumps(self._hashes, indent=2) + "\n")
        return made

    def _read(self) -> None:
        try:
            stat = self._path.stat()
            if (stat.st_mtime_ns, stat.st_ino) == self._read_of:
                return
            read = json.loads(self._path.read_text(encoding="utf-8"))
            hashes = {Role(role): str(found) for role, found in read.items()}
        except FileNotFoundError as error:
            if self._hashes:
                raise DataFolderError(f"{self._path} is gone") from error
            hashes, stat = {}, None
        except (OSError, ValueError, AttributeError) as error:
            raise DataFolderError(f"{self._path} cannot be read: {os_words(error)}") from error
        self._hashes, self._is_told = hashes, False
        self._read_of = (stat.st_mtime_ns, stat.st_ino) if stat else None


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()
