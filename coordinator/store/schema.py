"""The tables as they are now. What they were before is in `migrations`.

Instants are UTC as ISO 8601 text, for people: nothing depends on them. Arm time (`at_us`, and all
times in reports) holds within one session only.
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

EVENTS: Final = Table(
    "events",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("utc", Text, nullable=False),
    Column("at_us", Integer, nullable=False),
    Column("level", Text, nullable=False),  # info attention danger
    Column("code", Text, nullable=False),
    Column("message", Text, nullable=False),
    Column("joint", Text),
    Column("who", Text),  # of a command, where it is known
)
HOMINGS: Final = Table(
    "homings",
    METADATA,
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("state", Text, nullable=False),  # running done failed
    Column("began_utc", Text, nullable=False),
    Column("ended_utc", Text),
    Column("result", JSON, nullable=False),
)
ACKNOWLEDGEMENTS: Final = Table(
    "acknowledgements",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("warning", Text, nullable=False),
    Column("who", Text, nullable=False),
    Column("utc", Text, nullable=False),
)
SETTINGS: Final = Table(
    "settings",
    METADATA,
    Column("key", Text, primary_key=True),
    Column("value", JSON, nullable=False),
)
