"""The tables as they are now. What they were before is in `migrations`.

Instants are UTC as ISO 8601 text, for people: nothing depends on them. What depends on time is in
arm time, inside the reports.
"""

from typing import Final

from sqlalchemy import JSON, Column, Integer, MetaData, Table, Text

METADATA: Final = MetaData()

RUNS: Final = Table(
    "runs",
    METADATA,
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("name", Text, nullable=False),
    Column("program", Text),  # exact; unknown of runs from before there was a database
    Column("outcome", Text, nullable=False),
    Column("began_utc", Text),
    Column("ended_utc", Text),
    Column("report", JSON, nullable=False),
)
