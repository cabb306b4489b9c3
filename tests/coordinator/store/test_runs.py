"""Runs in real databases: what was kept is found again, by whoever opens them next."""

import json
import logging
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import Connection, Engine
from sqlalchemy import text as sql

from coordinator.store import Store, StoreError, runs
from tests.coordinator.store.apart import by_hand

VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=8,
)
"""All that JSON can say (RFC 8259)."""
TEXTS = st.text(st.characters(exclude_categories=["Cs"]), max_size=200)
"""All that UTF-8 can say: no surrogates (RFC 3629)."""


def report(run: int, outcome: str = "finished", **more: Any) -> dict[str, Any]:
    return {"run": run, "outcome": outcome, "message": "", "name": "a.nc", **more}


def summaries(connection: Connection) -> list[dict[str, Any]]:
    return runs.summaries(connection, None, 100)


async def kept(folder: Path, database: str | None, *reports: dict[str, Any]) -> None:
    store = Store(folder, database=database)
    for one in reports:
        await store.write(lambda connection, one=one: runs.save(connection, one))  # type: ignore[misc]
    await store.close()


async def test_reports_outlive_the_one_who_wrote_them(tmp_path: Path, database: str | None) -> None:
    await kept(tmp_path, database, report(12_345), report(3))
    store = Store(tmp_path, database=database)
    assert store.last_run == 12_345
    assert [one["run"] for one in await store.read(summaries)] == [12_345, 3]
    found = await store.read(lambda connection: runs.load(connection, 3))
    assert found is not None
    assert found.pop("written_utc").endswith("+00:00")
    assert found == report(3)
    assert await store.read(lambda connection: runs.load(connection, 4)) is None
    assert await store.read(lambda connection: runs.program(connection, 3)) is None
    await store.close()


async def test_runs_are_told_in_pages_newest_first(store: Store) -> None:
    for run in range(1, 8):
        await store.write(lambda connection, run=run: runs.save(connection, report(run)))  # type: ignore[misc]

    async def page(before: int | None) -> list[int]:
        found = await store.read(lambda connection: runs.summaries(connection, before, 3))
        return [one["run"] for one in found]

    assert await page(None) == [7, 6, 5]
    assert await page(5) == [4, 3, 2]
    assert await page(2) == [1]
    assert await page(1) == []


async def test_runs_that_were_cut_short_are_lost_the_others_stay(
    tmp_path: Path, database: str | None
) -> None:
    outcomes = ("playing", "held", "paused", "finished", "stopped")
    reports = [report(run, outcome) for run, outcome in enumerate(outcomes, 1)]
    reports[1]["line"] = 4
    await kept(tmp_path, database, *reports)
    store = Store(tmp_path, database=database)
    found = await store.read(summaries)
    assert [one["outcome"] for one in found] == ["stopped", "finished", "lost", "lost", "lost"]
    first = await store.read(lambda connection: runs.load(connection, 1))
    assert first is not None
    assert first["outcome"] == "lost"
    assert "coordinator ended" in first["message"]
    assert [told.partition(": ")[0] for told in store.cut_short] == [
        "run 1, a.nc, was playing", "run 2, a.nc, was held", "run 3, a.nc, was paused"
    ]  # fmt: skip
    assert ["go --back --run 2'" in told for told in store.cut_short] == [False, True, False]
    await store.close()
    store = Store(tmp_path, database=database)
    assert store.cut_short == [], "it is told once"
    await store.close()


@pytest.mark.parametrize("text", ["", "{", "[]", "null", "[" * 100_000, '{"run": 3}', '{"run": 2}'])
async def test_damaged_report_is_told_and_keeps_nothing_else_from_its_end(
    tmp_path: Path, database: str | None, text: str, caplog: pytest.LogCaptureFixture
) -> None:
    await kept(tmp_path, database, *(report(run, "playing") for run in (1, 2, 3)))
    change = sql("UPDATE runs SET report = :text WHERE number = 2").bindparams(text=text)
    with by_hand(tmp_path, database) as connection:
        connection.execute(change)
    with caplog.at_level(logging.WARNING):
        store = Store(tmp_path, database=database)
    assert "run 2" in caplog.text
    with pytest.raises(StoreError, match="run 2"):
        await store.read(lambda connection: runs.load(connection, 2))
    found = await store.read(summaries)
    assert [one["outcome"] for one in found] == ["lost", "playing", "lost"]
    await store.close()
    with by_hand(tmp_path, database) as connection:
        left = connection.execute(sql("SELECT report FROM runs WHERE number = 2")).scalar()
    assert left == text  # it is the owner's to look at


async def test_run_that_did_not_begin_leaves_its_number_to_the_next(store: Store) -> None:
    await store.write(lambda connection: runs.begin(connection, report(1), "G0 A1\nM2\n"))
    await store.write(lambda connection: runs.forget(connection, 1))
    assert await store.read(summaries) == []
    await store.write(lambda connection: runs.begin(connection, report(1), "M2\n"))
    # As if it could not be forgotten, and its keeper knows that.
    await store.write(lambda connection: runs.begin(connection, report(1), "M30\n", again=True))
    assert await store.read(lambda connection: runs.program(connection, 1)) == "M30\n"


async def test_run_whose_number_another_coordinator_has_used_does_not_take_its_place(
    store: Store,
) -> None:
    await store.write(lambda connection: runs.begin(connection, report(1), "M2\n"))
    with pytest.raises(StoreError, match="has a run 1 already, which this coordinator did not"):
        await store.write(lambda connection: runs.begin(connection, report(1), "M30\n"))
    assert await store.read(lambda connection: runs.program(connection, 1)) == "M2\n"


@given(run=st.integers(1, 2**31 - 1), value=VALUES, name=TEXTS, program=TEXTS)
def test_report_and_program_come_back_as_they_were(
    run: int, value: Any, name: str, program: str, engine: Engine
) -> None:
    written = {**report(run), "name": name, "more": value}
    with engine.begin() as connection:
        runs.begin(connection, written, program, again=True)
        runs.save(connection, written)
    with engine.begin() as connection:
        found = runs.load(connection, run)
        assert runs.program(connection, run) == program
    assert found is not None
    del found["written_utc"]
    assert json.dumps(found) == json.dumps(written)
