"""The tables of every earlier revision become those of today, and nothing in them is lost."""

import json
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from sqlalchemy import Connection

from coordinator.history.cells import Cell, CellKey, Spread, cell_of
from coordinator.history.levels import look_at
from coordinator.history.quantities import Counts
from coordinator.store import Store, StoreError, events, homings, joint_history, opening, runs
from coordinator.store.opening import engine_of, make_file, migrate
from coordinator.store.schema import METADATA

REVISIONS = [
    "0001",
    "0002",
    "0003",
    "0004",
    "0005",
    "0006",
    "0007",
    "0008",
    "0009",
    "0010",
    "0011",
    "0012",
]
REPORT = '{"run": 4, "name": "a.nc", "outcome": "finished", "message": "", "run_more": 1.5}'


def at_revision(folder: Path, revision: str) -> Path:
    """A database of an earlier version with one run in it."""
    path = folder / "unisono.db"
    make_file(path)
    engine = engine_of(path, writes=True)
    with engine.begin() as connection:
        migrate(connection, revision)
        connection.exec_driver_sql(
            "INSERT INTO runs (number, name, outcome, report) VALUES (4, 'a.nc', 'finished', ?)",
            (REPORT,),
        )
    engine.dispose()
    return path


def differences(connection: Connection) -> list[object]:
    return list(compare_metadata(MigrationContext.configure(connection), METADATA))


def test_revisions_are_all_that_there_are_in_one_line() -> None:
    scripts = opening._scripts()
    assert [one.revision for one in scripts.walk_revisions()] == REVISIONS[::-1]
    assert scripts.get_heads() == REVISIONS[-1:]


@pytest.mark.parametrize("revision", REVISIONS)
async def test_database_of_an_earlier_version_is_brought_up_to_date(
    tmp_path: Path, revision: str
) -> None:
    at_revision(tmp_path, revision)
    store = Store(tmp_path)
    assert await store.read(differences) == []
    assert store.last_run == 4
    kept = await store.read(lambda connection: runs.load(connection, 4))
    assert kept is not None
    assert kept["run_more"] == 1.5
    await store.close()


async def test_of_homings_from_before_it_is_not_known_how_far_home_had_wandered(
    tmp_path: Path,
) -> None:
    path = at_revision(tmp_path, "0006")
    found = {"edges": [], "middle": 5, "home_offset_deg": 0.25}
    rows = {
        1: json.dumps({"number": 1, "state": "done", "joints": {"tip": found}}),
        2: "{",
        3: '{"joints": {"tip": 4}}',
    }
    with closing(sqlite3.connect(path)) as database, database:
        database.executemany("INSERT INTO homings VALUES (?, 'done', '', NULL, ?)", rows.items())
    store = Store(tmp_path)
    kept = await store.read(lambda connection: homings.load(connection, 1))
    assert kept is not None
    unknown = ("shift_deg", "temperature_c", "controller", "figures", "wandered_deg")
    assert kept["joints"] == {"tip": {**found, **dict.fromkeys(unknown)}}
    await store.close()
    with closing(sqlite3.connect(path)) as database:
        # What is no homing is left as it is.
        assert dict(database.execute("SELECT number, result FROM homings WHERE number > 1")) == {
            2: rows[2], 3: rows[3],
        }  # fmt: skip


async def test_of_joints_from_before_no_hop_is_known_and_new_ones_are_added_to_the_same_hour(
    tmp_path: Path,
) -> None:
    path = at_revision(tmp_path, "0008")
    hour_s = 1_780_000_000 // 3_600 * 3_600
    with closing(sqlite3.connect(path)) as database, database:
        names = [row[1] for row in database.execute("PRAGMA table_info(joint_history)")]
        known = {"cell_s": 3_600, "joint": "tip", "start_s": hour_s, "temperature_c_least": 4_000,
                 "temperature_c_greatest": 4_100, "temperature_c_total": 8_100,
                 "temperature_c_count": 2, "starts": 7}  # fmt: skip
        row = [known.get(name, None if name.endswith(("least", "greatest")) else 0)
               for name in names]  # fmt: skip
        database.execute(f"INSERT INTO joint_history VALUES ({', '.join('?' * len(row))})", row)
    store = Store(tmp_path)
    look = look_at(hour_s, hour_s + 3_600, 2, hour_s + 3_600 + 40 * 86_400)

    async def told() -> Cell:
        found = await store.read(lambda at: joint_history.stretches(at, "tip", look))
        return found[0][1]

    old = await told()
    assert old.spreads == (Spread(4_000, 4_100, 8_100, 2), None, None, None, None, None)
    assert old.counts.starts == 7
    more = {CellKey(3_600, "tip", hour_s): cell_of((None,) * 5 + (51_200,), Counts(starts=1))}
    await store.write(lambda connection: joint_history.add(connection, more))
    both = await told()
    assert both.spreads == (*old.spreads[:5], Spread(51_200, 51_200, 51_200, 1))
    assert both.counts.starts == 8
    await store.close()


async def test_details_of_an_older_journal_are_told_from_its_lines(tmp_path: Path) -> None:
    path = at_revision(tmp_path, "0002")
    with closing(sqlite3.connect(path)) as database, database:
        for code in ("command-hold", "joint-held", "holding", "held", "joint-stopped", "homed"):
            database.execute(
                "INSERT INTO events (utc, at_us, level, code, message, who) "
                "VALUES ('2026-05-01T10:00:00+00:00', 5, 'info', ?, 'words', 'the phone')",
                (code,),
            )
    store = Store(tmp_path)
    lines = await store.read(lambda connection: events.newest(connection, None, 9))
    every = await store.read(lambda connection: events.newest(connection, None, 9, details=True))
    assert [one["code"] for one in lines] == ["held", "command-hold"]
    assert len(every) == 6
    assert {(one["message"], one["who"], one["at_us"]) for one in every} == {
        ("words", "the phone", 5)
    }
    await store.close()


async def test_comparison_finds_a_column_and_a_table_too_few(store: Store) -> None:
    for change in ("ALTER TABLE runs DROP COLUMN program", "DROP TABLE settings"):
        await store.write(lambda connection, sql=change: connection.exec_driver_sql(sql).close())  # type: ignore[misc]
    found = await store.read(differences)
    assert len(found) == 2
    assert "program" in str(found)
    assert "settings" in str(found)


def test_migration_that_is_cut_short_changes_nothing(tmp_path: Path) -> None:
    path = at_revision(tmp_path, "0001")
    engine = engine_of(path, writes=True)

    def cut_short(connection: Connection) -> None:
        migrate(connection)
        raise KeyboardInterrupt

    with engine.connect() as connection, pytest.raises(KeyboardInterrupt), connection.begin():
        cut_short(connection)
    engine.dispose()
    with closing(sqlite3.connect(path)) as database:
        tables = {name for (name,) in database.execute("SELECT name FROM sqlite_master")}
        assert database.execute("SELECT version_num FROM alembic_version").fetchall() == [("0001",)]
    assert "events" not in tables
    assert "runs" in tables


def test_database_of_a_newer_version_is_left_alone_and_told(tmp_path: Path) -> None:
    path = at_revision(tmp_path, REVISIONS[-1])
    with closing(sqlite3.connect(path)) as database, database:
        database.execute("UPDATE alembic_version SET version_num = '0999'")
    before = path.read_bytes()
    with pytest.raises(StoreError, match=r"unisono\.db is of a newer version \(revision 0999"):
        Store(tmp_path)
    assert path.read_bytes() == before


def test_database_of_another_program_is_left_alone_and_told(tmp_path: Path) -> None:
    path = tmp_path / "unisono.db"
    with closing(sqlite3.connect(path)) as database, database:
        database.execute("CREATE TABLE recipes (name)")
    before = path.read_bytes()
    with pytest.raises(StoreError, match="is of another program: it has a table 'recipes'"):
        Store(tmp_path)
    assert path.read_bytes() == before
