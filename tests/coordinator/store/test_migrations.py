"""The tables of every earlier revision become those of today, and nothing in them is lost."""

import json
import re
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from sqlalchemy import Connection, inspect, text

from coordinator.history.cells import Cell, CellKey, Spread, cell_of
from coordinator.history.levels import look_at
from coordinator.history.quantities import Counts
from coordinator.store import Store, StoreError, events, homings, joint_history, opening, runs
from coordinator.store.opening import migrate
from coordinator.store.place import place_of
from coordinator.store.schema import METADATA
from tests.coordinator.store.apart import by_hand

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
    "0013",
]
REPORT = '{"run": 4, "name": "a.nc", "outcome": "finished", "message": "", "run_more": 1.5}'


def at_revision(folder: Path, database: str | None, revision: str) -> None:
    """A database of an earlier version with one run in it."""
    run = "INSERT INTO runs (number, name, outcome, report) VALUES (4, 'a.nc', 'finished', :report)"
    with by_hand(folder, database) as connection:
        migrate(connection, revision)
        connection.execute(text(run), {"report": REPORT})


def differences(connection: Connection) -> list[object]:
    return list(compare_metadata(MigrationContext.configure(connection), METADATA))


def test_revisions_are_all_that_there_are_in_one_line() -> None:
    scripts = opening._scripts()
    assert [one.revision for one in scripts.walk_revisions()] == REVISIONS[::-1]
    assert scripts.get_heads() == REVISIONS[-1:]


@pytest.mark.parametrize("revision", REVISIONS)
async def test_database_of_an_earlier_version_is_brought_up_to_date(
    tmp_path: Path, database: str | None, revision: str
) -> None:
    at_revision(tmp_path, database, revision)
    store = Store(tmp_path, database=database)
    assert await store.read(differences) == []
    assert store.last_run == 4
    kept = await store.read(lambda connection: runs.load(connection, 4))
    assert kept is not None
    assert kept["run_more"] == 1.5
    await store.close()


async def test_of_homings_from_before_it_is_not_known_how_far_home_had_wandered(
    tmp_path: Path, database: str | None
) -> None:
    at_revision(tmp_path, database, "0006")
    found = {"edges": [], "middle": 5, "home_offset_deg": 0.25}
    rows = {
        1: json.dumps({"number": 1, "state": "done", "joints": {"tip": found}}),
        2: "{",
        3: '{"joints": {"tip": 4}}',
    }
    put = text("INSERT INTO homings VALUES (:number, 'done', '', NULL, :result)")
    with by_hand(tmp_path, database) as connection:
        connection.execute(put, [{"number": one, "result": result} for one, result in rows.items()])
    store = Store(tmp_path, database=database)
    kept = await store.read(lambda connection: homings.load(connection, 1))
    assert kept is not None
    unknown = ("shift_deg", "temperature_c", "controller", "figures", "wandered_deg")
    assert kept["joints"] == {"tip": {**found, **dict.fromkeys(unknown)}}
    await store.close()
    with by_hand(tmp_path, database) as connection:
        # What is no homing is left as it is.
        left = connection.execute(text("SELECT number, result FROM homings WHERE number > 1"))
        assert [tuple(row) for row in left] == [(2, rows[2]), (3, rows[3])]


async def test_of_joints_from_before_no_hop_is_known_and_new_ones_are_added_to_the_same_hour(
    tmp_path: Path, database: str | None
) -> None:
    at_revision(tmp_path, database, "0008")
    hour_s = 1_780_000_000 // 3_600 * 3_600
    with by_hand(tmp_path, database) as connection:
        names = [column["name"] for column in inspect(connection).get_columns("joint_history")]
        known = {"cell_s": 3_600, "joint": "tip", "start_s": hour_s, "temperature_c_least": 4_000,
                 "temperature_c_greatest": 4_100, "temperature_c_total": 8_100,
                 "temperature_c_count": 2, "starts": 7}  # fmt: skip
        row = {name: known.get(name, None if name.endswith(("least", "greatest")) else 0)
               for name in names}  # fmt: skip
        values = ", ".join(f":{name}" for name in names)
        connection.execute(text(f"INSERT INTO joint_history VALUES ({values})"), row)
    store = Store(tmp_path, database=database)
    look = look_at(hour_s, hour_s + 3_600, 2, hour_s + 3_600 + 40 * 86_400)

    async def told() -> Cell:
        found = await store.read(lambda at: joint_history.stretches(at, "tip", look))
        return found[0][1]

    old = await told()
    assert old.spreads == (Spread(4_000, 4_100, 8_100, 2), *(None,) * 6)
    assert old.counts.starts == 7
    more = {CellKey(3_600, "tip", hour_s): cell_of((None,) * 5 + (51_200, None), Counts(starts=1))}
    await store.write(lambda connection: joint_history.add(connection, more))
    both = await told()
    assert both.spreads == (*old.spreads[:5], Spread(51_200, 51_200, 51_200, 1), None)
    assert both.counts.starts == 8
    await store.close()


async def test_details_of_an_older_journal_are_told_from_its_lines(
    tmp_path: Path, database: str | None
) -> None:
    at_revision(tmp_path, database, "0002")
    put = text(
        "INSERT INTO events (utc, at_us, level, code, message, who) "
        "VALUES ('2026-05-01T10:00:00+00:00', 5, 'info', :code, 'words', 'the phone')"
    )
    codes = ("command-hold", "joint-held", "holding", "held", "joint-stopped", "homed")
    with by_hand(tmp_path, database) as connection:
        connection.execute(put, [{"code": code} for code in codes])
    store = Store(tmp_path, database=database)
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


def test_migration_that_is_cut_short_changes_nothing(tmp_path: Path, database: str | None) -> None:
    at_revision(tmp_path, database, "0001")

    def cut_short(connection: Connection) -> None:
        migrate(connection)
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt), by_hand(tmp_path, database) as connection:
        cut_short(connection)
    with by_hand(tmp_path, database) as connection:
        tables = inspect(connection).get_table_names()
        assert opening.revisions_in(connection) == {"0001"}
    assert sorted(tables) == ["alembic_version", "runs"]


def everything_in(folder: Path, database: str | None) -> object:
    """All rows of all tables."""
    with by_hand(folder, database) as connection:
        names = inspect(connection).get_table_names()
        return {name: connection.execute(text(f"SELECT * FROM {name}")).all() for name in names}


def test_database_of_a_newer_version_is_left_alone_and_told(
    tmp_path: Path, database: str | None
) -> None:
    at_revision(tmp_path, database, REVISIONS[-1])
    with by_hand(tmp_path, database) as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '0999'"))
    before = everything_in(tmp_path, database)
    said = rf"{place_name(tmp_path, database)} is of a newer version \(revision 0999"
    with pytest.raises(StoreError, match=said):
        Store(tmp_path, database=database)
    assert everything_in(tmp_path, database) == before


def place_name(folder: Path, database: str | None) -> str:
    """What sentences call it, as a pattern."""
    return re.escape(str(place_of(folder, database)))


def test_database_of_another_program_is_left_alone_and_told(
    tmp_path: Path, database: str | None
) -> None:
    with by_hand(tmp_path, database) as connection:
        connection.execute(text("CREATE TABLE recipes (name TEXT)"))
    before = everything_in(tmp_path, database)
    with pytest.raises(StoreError, match="is of another program: it has a table 'recipes'"):
        Store(tmp_path, database=database)
    assert everything_in(tmp_path, database) == before


@pytest.mark.parametrize("database", [None])
def test_file_of_a_newer_version_or_another_program_stays_the_same_to_the_last_byte(
    tmp_path: Path, database: None
) -> None:
    at_revision(tmp_path, database, REVISIONS[-1])
    for change in ("UPDATE alembic_version SET version_num = '0999'", "DROP TABLE alembic_version"):
        with by_hand(tmp_path, database) as connection:
            connection.execute(text(change))
        before = (tmp_path / "unisono.db").read_bytes()
        with pytest.raises(StoreError):
            Store(tmp_path)
        assert (tmp_path / "unisono.db").read_bytes() == before
