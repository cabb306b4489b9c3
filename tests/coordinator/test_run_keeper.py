"""Reports are on the disk as soon as the disk allows, and a slow disk keeps nobody waiting."""

import asyncio
import logging
import threading
from collections.abc import AsyncIterator, Callable
from pathlib import Path
from typing import Any, TypeVar

import pytest
from sqlalchemy import Connection

from coordinator.codes.outcome import Outcome
from coordinator.core.run.report import HoldRecord, Report
from coordinator.records.runs import MAX_LOST, RunKeeper
from coordinator.store import Store, StoreError, runs
from tests.as_json import as_json

Result = TypeVar("Result")
NO_SPACE = "disk cannot be used: there is no space left on its disk"


class FullDisk(Store):
    """Takes nothing while it is full; tests/coordinator/store has disks that are truly full."""

    full = True

    def write(self, work: Callable[[Connection], Result]) -> asyncio.Future[Result]:
        if not self.full:
            return super().write(work)
        failed: asyncio.Future[Result] = asyncio.get_running_loop().create_future()
        failed.set_exception(StoreError(NO_SPACE))
        return failed


@pytest.fixture(name="store")
async def open_store(tmp_path: Path) -> AsyncIterator[Store]:
    store = Store(tmp_path)
    yield store
    await store.close()


@pytest.fixture(name="disk")
async def full_disk(tmp_path: Path) -> AsyncIterator[FullDisk]:
    disk = FullDisk(tmp_path)
    yield disk
    await disk.close()


def report(run: int) -> Report:
    return Report(run, "a.nc", ("base", "tip"), began_us=1_000_000)


async def test_report_is_on_the_disk_before_the_run_ends(tmp_path: Path) -> None:
    live: dict[int, Report] = {}
    store = Store(tmp_path)
    keeper = RunKeeper(store, live)
    await keeper.begin(report(1), "M2\n")
    live[1] = report(1)
    hold = HoldRecord(2_000_000, "the operator asked", {"base": 5, "tip": None}, 0, ("tip",), 9)
    live[1].held(hold)
    keeper.grew(1)
    await keeper.close()
    await store.close()
    # A coordinator that dies here leaves this to its heir.
    store = Store(tmp_path)
    heir = RunKeeper(store, {})
    kept = await heir.report(1)
    assert kept is not None
    assert kept["outcome"] == "lost"
    assert kept["holds"] == as_json(live[1].holds)
    assert kept["began_utc"] is not None
    assert kept["ended_utc"] is None
    assert await heir.program(1) == "M2\n"
    await store.close()


async def test_slow_disk_keeps_nobody_waiting_and_gets_the_newest_state_only(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    live = {1: report(1)}
    keeper = RunKeeper(store, live)
    let, written = threading.Event(), []
    save = runs.save

    def slow(connection: Connection, told: dict[str, object]) -> None:
        assert let.wait(30)
        written.append(told["message"])
        save(connection, told)

    monkeypatch.setattr(runs, "save", slow)
    for message in ("first", "second", "third"):
        live[1].turned(Outcome.PLAYING, message)
        keeper.grew(1)
        await asyncio.sleep(0)  # the first is on its way to the disk
    live[1].turned(Outcome.PLAYING, "fourth")
    keeper.grew(1)
    told = await keeper.report(1)
    assert told is not None
    assert told["message"] == "fourth"
    assert written == []
    let.set()
    await keeper.close()
    assert written == ["first", "fourth"]
    kept = await RunKeeper(store, {}).report(1)
    assert kept is not None
    assert kept["message"] == "fourth"


async def test_run_is_ended_once_its_end_is_written_and_told_with_its_time(store: Store) -> None:
    live: dict[int, Report] = {}
    keeper = RunKeeper(store, live)
    await keeper.begin(report(7), "M2\n")
    live[7] = report(7)
    keeper.grew(7)
    assert not keeper.is_ended(7)
    live[7].turned(Outcome.FINISHED)
    live[7].ended_us = 3_000_000
    keeper.grew(7)
    await keeper.close()
    assert keeper.is_ended(7)
    told = await keeper.report(7)
    assert told is not None
    assert told["ended_utc"] is not None
    kept = await RunKeeper(store, {}).report(7)
    assert kept is not None
    assert kept.pop("written_utc")
    assert kept == as_json(told)


async def test_summaries_are_of_all_runs_and_of_the_live_ones_as_they_are_now(store: Store) -> None:
    for run in (1, 3):
        await RunKeeper(store, {}).begin(report(run), "M2\n")
    live = {2: report(2), 3: report(3)}
    live[3].turned(Outcome.HELD, "for a look")
    told = await RunKeeper(store, live).summaries(None, 100)
    assert [(one["run"], one["outcome"]) for one in told] == [
        (3, "held"), (2, "playing"), (1, "playing"),
    ]  # fmt: skip
    columns = {"run", "name", "outcome", "began_utc", "ended_utc", "taught"}
    assert all(one.keys() == columns for one in told)
    assert await RunKeeper(store, live).summaries(3, 1) == told[1:2]


async def test_newest_run_of_each_that_is_kept_is_told_from_the_disk_and_as_it_is_now(
    store: Store,
) -> None:
    before = RunKeeper(store, {})
    for run, taught in ((1, 8), (2, 9), (3, None), (4, 8)):
        await before.begin(report(run), "M2\n", taught)
    live = {5: report(5)}
    keeper = RunKeeper(store, live)
    await keeper.begin(live[5], "M2\n", 9)
    live[5].turned(Outcome.HELD, "for a look")
    told = await keeper.newest_of_taught()
    assert [(one["taught"], one["run"], one["outcome"]) for one in told] == [
        (8, 4, "playing"), (9, 5, "held"),
    ]  # fmt: skip


async def test_run_that_cannot_be_recorded_must_not_begin(disk: FullDisk) -> None:
    keeper = RunKeeper(disk, {})
    with pytest.raises(StoreError, match="no space left"):
        await keeper.begin(report(1), "M2\n")
    disk.full = False
    await keeper.begin(report(1), "M2\n")


async def test_full_disk_is_told_of_once_and_the_run_goes_on(
    disk: FullDisk, caplog: pytest.LogCaptureFixture
) -> None:
    live = {1: report(1)}
    keeper = RunKeeper(disk, live)
    with caplog.at_level(logging.WARNING):
        for _ in range(3):
            keeper.grew(1)
            await keeper.close()
    assert [record.getMessage() for record in caplog.records] == [
        f"the report of run 1 is not kept: {NO_SPACE}"
    ]
    live[1].ended_us = 3_000_000
    keeper.grew(1)
    await keeper.close()
    assert keeper.is_ended(1)  # whoever waits for the end must not wait for the disk


async def test_live_report_says_what_could_not_be_written_until_it_is(disk: FullDisk) -> None:
    live = {1: report(1), 2: report(2)}
    keeper = RunKeeper(disk, live)
    for run in live:
        keeper.grew(run)
        await keeper.close()
    keeper.lost(1, "event joint-warm", NO_SPACE)
    told = await keeper.report(1)
    assert told is not None
    assert [(one["what"], one["why"]) for one in told["unwritten"]] == [
        ("report", NO_SPACE), ("event joint-warm", NO_SPACE),
    ]  # fmt: skip
    disk.full = False
    keeper.grew(2)  # the disk is tried for all that it did not take
    await keeper.close()
    for run, lost in ((1, ["event joint-warm"]), (2, [])):
        for source in (keeper, RunKeeper(disk, {})):
            told = await source.report(run)
            assert told is not None
            assert [one["what"] for one in told["unwritten"]] == lost
    for _ in range(2 * MAX_LOST):
        keeper.lost(2, "event", NO_SPACE)
    told = await keeper.report(2)
    assert told is not None
    assert len(told["unwritten"]) == MAX_LOST


async def test_run_that_another_coordinator_recorded_is_neither_replaced_nor_forgotten(
    tmp_path: Path,
) -> None:
    store = Store(tmp_path)
    other, keeper = RunKeeper(store, {}), RunKeeper(store, {})
    await other.begin(report(1), "M2\n")
    for _ in range(2):
        with pytest.raises(StoreError, match="has a run 1 already"):
            await keeper.begin(report(1), "M30\n")
        await keeper.close()
        assert await store.read(lambda connection: runs.program(connection, 1)) == "M2\n"
    await store.close()


async def test_run_that_a_hanging_disk_records_too_late_is_forgotten(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    store, let = Store(tmp_path, disk_s=0.05), threading.Event()
    begin = runs.begin

    def slow(
        connection: Connection, first: dict[str, Any], program: str, taught: int | None, again: bool
    ) -> None:
        begin(connection, first, program, taught, again=again)
        let.wait(30)

    monkeypatch.setattr(runs, "begin", slow)
    keeper = RunKeeper(store, {})
    with pytest.raises(StoreError, match="its disk has not answered"):
        await keeper.begin(report(1), "M2\n")
    let.set()
    await store.write(lambda _connection: None)  # behind what hung
    await keeper.close()
    assert await store.read(lambda connection: runs.summaries(connection, None, 9)) == []
    await store.close()
