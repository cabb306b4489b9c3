"""The tables as they are now. What they were before is in `migrations`.

Instants are UTC as ISO 8601 text, for people: nothing depends on them. Arm time (`at_us`, and all
times in reports) holds within one session only. The history of joints is by Unix time in s, and so
is until when an alarm is shelved.
"""

from typing import Final

from sqlalchemy import JSON, Boolean, Column, Integer, MetaData, Table, Text, false

from coordinator.history.quantities import COUNTS, GAUGES

METADATA: Final = MetaData()
_LATER: Final = ("hop_ohm",)
"""Gauges that the table of joints did not have from its beginning."""

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
    Column("taught", Integer, index=True),  # sequence or kept program that was played, if any
    Column("taught_sha256", Text),  # of its text then
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
    # Of something that has a line of its own: for those who look closer.
    Column("detail", Boolean, nullable=False, server_default=false()),
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
ACCEPTED_HOMES: Final = Table(
    "accepted_homes",
    METADATA,
    Column("joint", Text, primary_key=True),
    Column("homing", Integer, primary_key=True, autoincrement=False),
    Column("who", Text, nullable=False),
    Column("utc", Text, nullable=False),
)
SHELVES: Final = Table(
    "shelves",
    METADATA,
    Column("joint", Text, primary_key=True),
    Column("code", Text, primary_key=True),  # of the alarm
    Column("who", Text, nullable=False),
    Column("since_s", Integer, nullable=False),  # Unix time: what is left of it depends on it
    Column("until_s", Integer, nullable=False),
)
UNSEEN_ALARMS: Final = Table(
    "unseen_alarms",
    METADATA,
    Column("joint", Text, primary_key=True),
    Column("code", Text, primary_key=True),  # of the alarm
    Column("message", Text, nullable=False),
    Column("since_s", Integer, nullable=False),  # Unix time, for people
)
ACKNOWLEDGEMENTS: Final = Table(
    "acknowledgements",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("warning", Text, nullable=False),
    Column("who", Text, nullable=False),
    Column("utc", Text, nullable=False),
)
TAUGHT: Final = Table(
    "taught",
    METADATA,
    Column("id", Integer, primary_key=True, autoincrement=False),  # 1
    Column("revision", Integer, nullable=False),
    Column("head", Integer),  # the change that was made last
    Column("next_id", Integer, nullable=False),
    Column("content", Text, nullable=False),
)
TAUGHT_CHANGES: Final = Table(
    "taught_changes",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("parent", Integer, index=True),  # the change before it; undone ones stay
    Column("utc", Text, nullable=False),
    Column("who", Text, nullable=False),
    Column("words", Text, nullable=False),
    Column("sequences", JSON, nullable=False),  # ids of those that it is about
    Column("steps", Text, nullable=False),
)
TEXTS: Final = Table(
    "texts",  # of programs that are or were kept: never changed, never deleted
    METADATA,
    Column("sha256", Text, primary_key=True),
    Column("text", Text, nullable=False),
)
BRING_UP: Final = Table(
    "bring_up",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("joint", Text, nullable=False, index=True),
    Column("step", Text, nullable=False),
    Column("utc", Text, nullable=False),
    Column("who", Text, nullable=False),
    Column("basis", Text, nullable=False),  # JSON: with what it was done
    Column("figures", Text, nullable=False),  # JSON
    Column("picture", Text),  # SVG
)
SETTINGS: Final = Table(
    "settings",
    METADATA,
    Column("key", Text, primary_key=True),
    Column("value", JSON, nullable=False),
)


def _gauge(name: str) -> list[Column[int]]:
    """What its readings were; least and greatest are null where there were none."""
    # Of a gauge that came later nothing was read before.
    none = "0" if name in _LATER else None
    return [
        Column(f"{name}_least", Integer),
        Column(f"{name}_greatest", Integer),
        Column(f"{name}_total", Integer, nullable=False, server_default=none),
        Column(f"{name}_count", Integer, nullable=False, server_default=none),
    ]


JOINT_HISTORY: Final = Table(
    "joint_history",
    METADATA,
    Column("cell_s", Integer, primary_key=True, autoincrement=False),
    Column("joint", Text, primary_key=True),
    Column("start_s", Integer, primary_key=True, autoincrement=False),  # Unix time
    *(column for gauge in GAUGES for column in _gauge(gauge.name)),
    *(Column(name, Integer, nullable=False) for name in COUNTS),
    sqlite_with_rowid=False,  # the key is the order on the disk, and is there once
)
