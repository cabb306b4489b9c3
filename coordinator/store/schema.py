"""The tables as they are now. What they were before is in `migrations`.

Instants are UTC as ISO 8601 text, for people: nothing depends on them. Arm time (`at_us`, and all
times in reports) holds within one session only. The history of joints is by Unix time in s, and so
is until when an alarm is shelved.
"""

from typing import Final

from sqlalchemy import Boolean, Column, MetaData, Table, false

from coordinator.history.quantities import COUNTS, GAUGES
from coordinator.store.columns import JSON, TEXT, WHOLE

METADATA: Final = MetaData()
_LATER: Final = ("hop_ohm", "position_error_deg")
"""Gauges that the table of joints did not have from its beginning."""

RUNS: Final = Table(
    "runs",
    METADATA,
    Column("number", WHOLE, primary_key=True, autoincrement=False),
    Column("name", TEXT, nullable=False),
    Column("program", TEXT),  # exact; unknown of runs from before there was a database
    Column("outcome", TEXT, nullable=False),
    Column("began_utc", TEXT),
    Column("ended_utc", TEXT),
    Column("report", JSON, nullable=False),
    Column("taught", WHOLE, index=True),  # sequence or kept program that was played, if any
    Column("taught_sha256", TEXT),  # of its text then
)

EVENTS: Final = Table(
    "events",
    METADATA,
    Column("id", WHOLE, primary_key=True),
    Column("utc", TEXT, nullable=False),
    Column("at_us", WHOLE, nullable=False),
    Column("level", TEXT, nullable=False),  # info attention danger
    Column("code", TEXT, nullable=False),
    Column("message", TEXT, nullable=False),
    Column("joint", TEXT),
    Column("who", TEXT),  # of a command, where it is known
    # Of something that has a line of its own: for those who look closer.
    Column("detail", Boolean, nullable=False, server_default=false()),
)
HOMINGS: Final = Table(
    "homings",
    METADATA,
    Column("number", WHOLE, primary_key=True, autoincrement=False),
    Column("state", TEXT, nullable=False),  # running done failed
    Column("began_utc", TEXT, nullable=False),
    Column("ended_utc", TEXT),
    Column("result", JSON, nullable=False),
)
ACCEPTED_HOMES: Final = Table(
    "accepted_homes",
    METADATA,
    Column("joint", TEXT, primary_key=True),
    Column("homing", WHOLE, primary_key=True, autoincrement=False),
    Column("who", TEXT, nullable=False),
    Column("utc", TEXT, nullable=False),
)
SHELVES: Final = Table(
    "shelves",
    METADATA,
    Column("joint", TEXT, primary_key=True),
    Column("code", TEXT, primary_key=True),  # of the alarm
    Column("who", TEXT, nullable=False),
    Column("since_s", WHOLE, nullable=False),  # Unix time: what is left of it depends on it
    Column("until_s", WHOLE, nullable=False),
)
UNSEEN_ALARMS: Final = Table(
    "unseen_alarms",
    METADATA,
    Column("joint", TEXT, primary_key=True),
    Column("code", TEXT, primary_key=True),  # of the alarm
    Column("message", TEXT, nullable=False),
    Column("since_s", WHOLE, nullable=False),  # Unix time, for people
)
ACKNOWLEDGEMENTS: Final = Table(
    "acknowledgements",
    METADATA,
    Column("id", WHOLE, primary_key=True),
    Column("warning", TEXT, nullable=False),
    Column("who", TEXT, nullable=False),
    Column("utc", TEXT, nullable=False),
)
TAUGHT: Final = Table(
    "taught",
    METADATA,
    Column("id", WHOLE, primary_key=True, autoincrement=False),  # 1
    Column("revision", WHOLE, nullable=False),
    Column("head", WHOLE),  # the change that was made last
    Column("next_id", WHOLE, nullable=False),
    Column("content", TEXT, nullable=False),
)
TAUGHT_CHANGES: Final = Table(
    "taught_changes",
    METADATA,
    Column("id", WHOLE, primary_key=True),
    Column("parent", WHOLE, index=True),  # the change before it; undone ones stay
    Column("utc", TEXT, nullable=False),
    Column("who", TEXT, nullable=False),
    Column("words", TEXT, nullable=False),
    Column("sequences", JSON, nullable=False),  # ids of those that it is about
    Column("steps", TEXT, nullable=False),
)
TEXTS: Final = Table(
    "texts",  # of programs that are or were kept: never changed, never deleted
    METADATA,
    Column("sha256", TEXT, primary_key=True),
    Column("text", TEXT, nullable=False),
)
BRING_UP: Final = Table(
    "bring_up",
    METADATA,
    Column("id", WHOLE, primary_key=True),
    Column("joint", TEXT, nullable=False, index=True),
    Column("step", TEXT, nullable=False),
    Column("utc", TEXT, nullable=False),
    Column("who", TEXT, nullable=False),
    Column("basis", TEXT, nullable=False),  # JSON: with what it was done
    Column("figures", TEXT, nullable=False),  # JSON
    Column("picture", TEXT),  # SVG
)
SETTINGS: Final = Table(
    "settings",
    METADATA,
    Column("key", TEXT, primary_key=True),
    Column("value", JSON, nullable=False),
)


def _gauge(name: str) -> list[Column[int]]:
    """What its readings were; least and greatest are null where there were none."""
    # Of a gauge that came later nothing was read before.
    none = "0" if name in _LATER else None
    return [
        Column(f"{name}_least", WHOLE),
        Column(f"{name}_greatest", WHOLE),
        Column(f"{name}_total", WHOLE, nullable=False, server_default=none),
        Column(f"{name}_count", WHOLE, nullable=False, server_default=none),
    ]


JOINT_HISTORY: Final = Table(
    "joint_history",
    METADATA,
    Column("cell_s", WHOLE, primary_key=True, autoincrement=False),
    Column("joint", TEXT, primary_key=True),
    Column("start_s", WHOLE, primary_key=True, autoincrement=False),  # Unix time
    *(column for gauge in GAUGES for column in _gauge(gauge.name)),
    *(Column(name, WHOLE, nullable=False) for name in COUNTS),
    sqlite_with_rowid=False,  # the key is the order on the disk, and is there once
)
