"""Types of columns that are the same to whoever reads and writes, in SQLite and in PostgreSQL.

A whole number of SQLite has 64 bits, one of PostgreSQL 32 unless it says otherwise; a text of
SQLite may hold any character, one of PostgreSQL no NUL; and PostgreSQL's own JSON refuses numbers
that are not finite, and would give another text than was written.
"""

import json
from typing import Any, Final

from sqlalchemy import JSON as JSON_OF_SQLITE
from sqlalchemy import BigInteger, Dialect, Integer, Text
from sqlalchemy.types import TypeDecorator

_POSTGRESQL: Final = "postgresql"
_ESCAPED: Final = str.maketrans({"\0": "\x010", "\x01": "\x011"})


class _AnyText(TypeDecorator[str]):
    """Text with NUL written as two other characters, and the first of those too."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: str | None, dialect: Dialect) -> str | None:
        """What is written."""
        return None if value is None else value.translate(_ESCAPED)

    def process_result_value(self, value: str | None, dialect: Dialect) -> str | None:
        """What was meant."""
        if value is None or "\x01" not in value:
            return value
        return value.replace("\x010", "\0").replace("\x011", "\x01")


class _JsonText(TypeDecorator[Any]):
    """JSON as its text, as SQLite has it."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: Any, dialect: Dialect) -> str:
        """What is written. All but ASCII is escaped, so it has no NUL."""
        return json.dumps(value)

    def process_result_value(self, value: str | None, dialect: Dialect) -> Any:
        """What was meant. Raises ValueError or RecursionError for what is no JSON."""
        return None if value is None else json.loads(value)


WHOLE: Final = Integer().with_variant(BigInteger(), _POSTGRESQL)
"""A whole number of up to 64 bits."""
TEXT: Final = Text().with_variant(_AnyText(), _POSTGRESQL)
JSON: Final = JSON_OF_SQLITE().with_variant(_JsonText(), _POSTGRESQL)
"""Any value that Python's `json` writes."""
