"""Reports are on the disk as soon as the disk allows, and a slow disk keeps nobody waiting."""

import asyncio
import logging
import threading
from pathlib import Path
from typing import Any

import pytest

from coordinator.core.report import Report
from coordinator.data_folder import DataFolderError
from coordinator.run_files import RunFiles
from coordinator.run_keeper import RunKeeper


class SlowDisk(RunFiles):
    """Writes only while it is let."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        self.let = threading.Event()
        self.written: list[str] = []

    def save(self, report: dict[str, Any]) -> None:
        assert self.let.wait(30)
        self.written.append(report["message"])
        super().save(report)


class FullDisk(RunFiles):
    """Writes nothing."""

    def save(self, report: dict[str, Any]) -> None:
        raise DataFolderError(f"{report['run']} cannot be written: No space left on device")


def report(run: int) -> Report:
    return Report(run, "a.nc", ("base", "tip"), began_us=1_000_000)


async def test_report_is_on_the_disk_before_the_run_ends(tmp_path: Path) -> None:
    live = {1: report(1)}
    keeper = RunKeeper(RunFiles(tmp_path), live)
    await keeper.begin(1)
    live[1].held("the operator asked", {"base": 5, "tip": None}, 0, 2_000_000)
    keeper.grew(1)
    await keeper.close()
    # A coordinator that dies here leaves this to its heir.
    heir = RunFiles(tmp_path)
    heir.close_unfinished()
    kept = heir.load(1)
    assert kept is not None
    assert kept["outcome"] == "lost"
    assert kept["holds"] == live[1].holds
    assert kept["began_utc"] is not None
    assert kept["ended_utc"] is None


async def test_slow_disk_keeps_nobody_waiting_and_gets_the_newest_state_only(
    tmp_path: Path,
) -> None:
    live = {1: report(1)}
    disk = SlowDisk(tmp_path)
    keeper = RunKeeper(disk, live)
    for message in ("first", "second", "third"):
        live[1].turned("playing", message)
        keeper.grew(1)
        await asyncio.sleep(0)  # the first is on its way to the disk
    live[1].turned("playing", "fourth")
    keeper.grew(1)
    told = await keeper.report(1)
    assert told is not None
    assert told["message"] == "fourth"
    assert disk.written == []
    disk.let.set()
    await keeper.close()
    assert disk.written == ["first", "fourth"]
    kept = disk.load(1)
    assert kept is not None
    assert kept["message"] == "fourth"


async def test_run_is_ended_once_its_end_is_written_and_told_with_its_time(tmp_path: Path) -> None:
    live = {7: report(7)}
    keeper = RunKeeper(RunFiles(tmp_path), live)
    await keeper.begin(7)
    assert not keeper.is_ended(7)
    assert keeper.runs() == [7]
    live[7].turned("finished")
    live[7].ended_us = 3_000_000
    keeper.grew(7)
    await keeper.close()
    assert keeper.is_ended(7)
    told = await keeper.report(7)
    assert told is not None
    assert told["ended_utc"] is not None
    kept = await RunKeeper(RunFiles(tmp_path), {}).report(7)
    assert kept is not None
    assert kept.pop("written_utc")
    assert kept == told


async def test_full_disk_is_told_of_once_and_the_run_goes_on(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    live = {1: report(1)}
    keeper = RunKeeper(FullDisk(tmp_path), live)
    with caplog.at_level(logging.WARNING):
        await keeper.begin(1)
        for _ in range(3):
            keeper.grew(1)
            await keeper.close()
    assert [record.getMessage() for record in caplog.records] == [
        "the report of run 1 is not kept: 1 cannot be written: No space left on device"
    ]
    live[1].ended_us = 3_000_000
    keeper.grew(1)
    await keeper.close()
    assert keeper.is_ended(1)  # whoever waits for the end must not wait for the disk
