"""Reports that are JSON files, from before there was a database, are taken in once."""

import json
import logging
from pathlib import Path
from typing import Any

import pytest

from coordinator.store import Store, StoreError, runs


def report(run: int, outcome: str = "finished") -> dict[str, Any]:
    return {
        "run": run, "outcome": outcome, "message": "", "name": "a.nc", "holds": [1.5],
        "began_utc": "2026-05-01T10:00:00+00:00", "ended_utc": None,
        "written_utc": "2026-05-01T10:00:09+00:00",
    }  # fmt: skip


def put(folder: Path, name: str, text: str) -> Path:
    (folder / "runs").mkdir(exist_ok=True)
    path = folder / "runs" / name
    path.write_text(text)
    return path


async def test_reports_are_taken_in_and_their_folder_is_put_away(
    tmp_path: Path, database: str | None
) -> None:
    for run in (2, 12_345):
        put(tmp_path, f"{run:04d}.json", json.dumps(report(run)))
    put(tmp_path, "0003.json", json.dumps(report(3, "held")))
    put(tmp_path, "notes.txt", "mine")
    for _ in range(2):
        store = Store(tmp_path, database=database)
        assert store.last_run == 12_345
        found = await store.read(lambda connection: runs.summaries(connection, None, 100))
        assert [(one["run"], one["outcome"]) for one in found] == [
            (12_345, "finished"), (3, "lost"), (2, "finished"),
        ]  # fmt: skip
        assert found[2]["began_utc"] == report(2)["began_utc"]
        kept = await store.read(lambda connection: runs.load(connection, 2))
        assert kept is not None
        assert kept | {"written_utc": ""} == report(2) | {"written_utc": ""}
        assert await store.read(lambda connection: runs.program(connection, 2)) is None
        await store.close()
    assert not (tmp_path / "runs").exists()
    assert len(list((tmp_path / "runs-imported").iterdir())) == 4


async def test_import_that_was_cut_short_before_its_folder_was_put_away_changes_no_run(
    tmp_path: Path,
) -> None:
    put(tmp_path, "0001.json", json.dumps(report(1)))
    await Store(tmp_path).close()
    (tmp_path / "runs-imported").rename(tmp_path / "runs")
    put(tmp_path, "0001.json", json.dumps(report(1, "stopped")))
    store = Store(tmp_path)
    (found,) = await store.read(lambda connection: runs.summaries(connection, None, 100))
    assert found["outcome"] == "finished"
    await store.close()


@pytest.mark.parametrize(
    "text",
    ["", "[]", "null", "[" * 100_000, '{"run": 2}', json.dumps(report(3)),
     '{"run": 2, "outcome": 5, "name": "a.nc", "message": ""}'],
)  # fmt: skip
async def test_damaged_file_is_told_and_its_number_stays_taken(
    tmp_path: Path, text: str, caplog: pytest.LogCaptureFixture
) -> None:
    put(tmp_path, "0001.json", json.dumps(report(1)))
    put(tmp_path, "0002.json", text)
    with caplog.at_level(logging.WARNING):
        store = Store(tmp_path)
    assert "0002.json" in caplog.text
    assert store.last_run == 2
    found = await store.read(lambda connection: runs.summaries(connection, None, 100))
    assert [one["outcome"] for one in found] == ["lost", "finished"]
    kept = await store.read(lambda connection: runs.load(connection, 2))
    assert kept is not None
    assert kept["message"] == "its report is damaged: see 0002.json in runs-imported"
    await store.close()
    assert (tmp_path / "runs-imported" / "0002.json").read_text() == text


def test_import_over_an_earlier_one_is_refused_before_anything_is_read(tmp_path: Path) -> None:
    put(tmp_path, "0001.json", json.dumps(report(1)))
    (tmp_path / "runs-imported").mkdir()
    with pytest.raises(StoreError, match="runs-imported is there already"):
        Store(tmp_path)
    (tmp_path / "runs-imported").rmdir()
    (tmp_path / "runs-imported").write_text("")
    with pytest.raises(StoreError, match="runs-imported is there already"):
        Store(tmp_path)
