"""A data folder that has something of every kind, and comparisons of two folders."""

import asyncio
import sqlite3
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

from sqlalchemy import Connection

from coordinator.api.certificate import own_certificate
from coordinator.api.tokens import Role, Tokens
from coordinator.backup.contents import NOT_OURS
from coordinator.config.data_folder import coordinator_id, make_key
from coordinator.config.settings import DEMO_ARM
from coordinator.config.update_key import make_update_key
from coordinator.history.cells import cell_of
from coordinator.history.collector import Collector
from coordinator.history.quantities import Counts
from coordinator.records.taught import TaughtKeeper
from coordinator.store import (
    Store,
    accepted_homes,
    acknowledgements,
    bring_up,
    events,
    homings,
    joint_history,
    runs,
    settings,
    shelves,
    unseen_alarms,
)
from coordinator.store.unseen_alarms import KeptAlarm
from coordinator.teaching.program_edits import KeepProgram
from coordinator.teaching.sequence_edits import AddSequence
from coordinator.teaching.visit_edits import Record
from tests.coordinator.teaching.kit import ARM

NOW: Final = datetime(2026, 12, 1, 8, 30, 15, tzinfo=UTC)
PASSPHRASE: Final = "prick out in März"
PROGRAM: Final = "(Sämlinge)\nG0 A1\nM2\n"
HISTORY_FROM_S: Final = 1_779_998_400
ARM_TEXT: Final = DEMO_ARM.read_bytes() + "# a comment of mine: Ä\r\n".encode()


def full_folder(folder: Path) -> Path:
    """Make one, with `arm.toml` beside it; gives the arm file."""
    folder.parent.mkdir(parents=True, exist_ok=True)
    arm = folder.with_name(f"{folder.name}-arm.toml")
    arm.write_bytes(ARM_TEXT)
    make_key(folder)
    make_update_key(folder)
    coordinator_id(folder)
    Tokens(folder).make(list(Role))
    own_certificate(folder, "192.0.2.7", ["bench.local"])
    (folder / "runs-imported").mkdir()
    (folder / "runs-imported" / "0001.json").write_text('{"run": 1}')
    asyncio.run(_fill(folder))
    return arm


async def _fill(folder: Path) -> None:
    store = Store(folder)
    places = {"turntable": 1.0, "shoulder": 2.0, "elbow": 3.0}
    keeper = TaughtKeeper(store, ARM, lambda: places)
    for edit in (
        AddSequence("add-sequence", "pick"),
        Record("record", 1, None, "above"),
        Record("record", 1, None, "tray"),
        KeepProgram("keep-program", PROGRAM, "by hand"),
    ):
        await keeper.edit((await keeper.now()).revision, edit, "a test")
    await keeper.undo((await keeper.now()).revision)
    cells = Collector()
    sample = cell_of((4_000, 24_000, 9_000, 0, 400, 60_000, -400), Counts(starts=1))
    for after_s in range(5):
        cells.add("elbow", HISTORY_FROM_S + after_s, sample)
    history = cells.drained()

    def work(connection: Connection) -> None:
        report = {"run": 1, "name": "tray.nc", "outcome": "finished", "message": ""}
        runs.begin(connection, report, PROGRAM)
        runs.save(connection, report | {"holds": 2})
        found = {"number": 1, "state": "done", "message": "", "joints": {"elbow": {"edges": []}}}
        homings.save(connection, found, "2026-05-01T09:00:00Z")
        accepted_homes.add(connection, "elbow", 1, "a test")
        acknowledgements.add(connection, "fan-stopped", "a test")
        bring_up.add(
            connection, "elbow", "placed", "2026-05-01T09:00:00+00:00", "a test", {"place": "3"},
            {"angle": 1.5}, "ä",
        )  # fmt: skip
        shelves.put(connection, "elbow", "link-lossy", "a test", 600)
        unseen_alarms.put(
            connection, KeptAlarm("elbow", "supply-low", "it had 19 V", 1_779_998_400)
        )
        settings.put(connection, "rehearsal", {"network": "home"})
        joint_history.add(connection, history)
        events.add(connection, utc="x", at_us=7, level="info", code="homed", message="Ä")

    await store.write(work)
    await store.close()


def rows(folder: Path) -> dict[str, list[tuple[Any, ...]]]:
    """All rows of all tables, and what the tables are."""
    with closing(sqlite3.connect(f"file:{folder / 'unisono.db'}?mode=ro", uri=True)) as database:
        tables = [
            name
            for (name,) in database.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")
        ]
        found = {
            name: sorted(database.execute(f'SELECT * FROM "{name}"').fetchall(), key=repr)
            for name in tables
        }
        found["sqlite_schema"] = database.execute(
            "SELECT type, name, tbl_name, sql FROM sqlite_schema ORDER BY name"
        ).fetchall()
        return found


def files(folder: Path) -> dict[str, tuple[int, bytes]]:
    """Each file but the database and what is of one folder alone: its mode and its content."""
    return {
        str(path.relative_to(folder)): (path.stat().st_mode & 0o777, path.read_bytes())
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.name not in NOT_OURS and not path.name.startswith("unisono.db")
    }


def everything(folder: Path) -> dict[str, bytes]:
    """All files below a folder, whatever they are."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }
