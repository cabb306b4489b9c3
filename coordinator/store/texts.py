"""Texts of programs by their SHA-256: each is kept once, and for as long as the database is.

Functions of a connection. What was taught names a text by its digest, so that a change of it is
small and every version is there to be restored.
"""

import hashlib

from sqlalchemy import Connection, select

from coordinator.store import rows
from coordinator.store.errors import StoreError
from coordinator.store.schema import TEXTS


def digest_of(text: str) -> str:
    """The name of a text: 64 hexadecimal digits."""
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def keep(connection: Connection, text: str) -> None:
    """Keep a text; it may be there already."""
    rows.put_new(connection, TEXTS, {"sha256": digest_of(text), "text": text})


def load(connection: Connection, sha256: str) -> str:
    """A text. Raises StoreError where it is not there or is another."""
    text = connection.execute(select(TEXTS.c.text).where(TEXTS.c.sha256 == sha256)).scalar()
    if text is None or digest_of(text) != sha256:
        raise StoreError(f"the text {sha256[:12]} of a program is not in the database any more")
    return str(text)
