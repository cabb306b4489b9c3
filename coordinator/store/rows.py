"""Rows put in the place of others: what SQLite and PostgreSQL say alike, each by a construct of its
own. Functions of a connection.
"""

from collections.abc import Mapping
from typing import Any

from sqlalchemy import (
    JSON,
    Column,
    Connection,
    Table,
    TableValuedAlias,
    Text,
    cast,
    func,
    type_coerce,
)
from sqlalchemy.dialects import sqlite


def insert(connection: Connection, table: Table) -> Any:
    """An insert that may say what is done where there is such a row."""
    if not _is_postgresql(connection):
        return sqlite.insert(table)
    from sqlalchemy.dialects import postgresql  # a tenth of a second, for those who have it

    return postgresql.insert(table)


def put(
    connection: Connection,
    table: Table,
    row: Mapping[str, Any],
    instead: Mapping[str, Any] | None = None,
) -> None:
    """Keep a row; where its primary key is there, it gets these values instead, or all of them."""
    new = insert(connection, table).values(row)
    keys = list(table.primary_key.columns)
    values = row if instead is None else instead
    connection.execute(new.on_conflict_do_update(index_elements=keys, set_=values))


def put_new(connection: Connection, table: Table, row: Mapping[str, Any]) -> None:
    """Keep a row, or the one that is there with its primary key."""
    connection.execute(insert(connection, table).values(row).on_conflict_do_nothing())


def members_of(connection: Connection, column: Column[Any]) -> TableValuedAlias:
    """The members of a list in JSON, as rows whose `value` is one of them, to be cast."""
    if not _is_postgresql(connection):
        return func.json_each(column).table_valued("value")
    text = cast(type_coerce(column, Text), JSON)
    return func.json_array_elements_text(text).table_valued("value")


def _is_postgresql(connection: Connection) -> bool:
    return connection.dialect.name == "postgresql"
