"""Reports of runs on the disk."""

import logging
from pathlib import Path
from typing import Any

import pytest

from coordinator.data_folder import DataFolderError
from coordinator.run_files import RunFiles


def report(run: int, outcome: str = "finished") -> dict[str, Any]:
    return {"run": run, "outcome": outcome, "message": "", "name": "a.nc"}


def test_reports_outlive_the_one_who_wrote_them(tmp_path: Path) -> None:
    RunFiles(tmp_path).save(report(12_345))
    RunFiles(tmp_path).save(report(3))
    files = RunFiles(tmp_path)
    assert files.numbers() == [3, 12_345]
    kept = files.load(3)
    assert kept is not None
    assert kept.pop("written_utc").endswith("+00:00")
    assert kept == report(3)
    assert files.load(4) is None
    assert (tmp_path / "runs" / "0003.json").exists()


def test_runs_that_were_cut_short_are_lost_the_others_stay(tmp_path: Path) -> None:
    files = RunFiles(tmp_path)
    for run, outcome in enumerate(("playing", "held", "finished", "stopped"), 1):
        files.save(report(run, outcome))
    files.close_unfinished()
    loaded = [files.load(run) for run in files.numbers()]
    outcomes = [found["outcome"] for found in loaded if found]
    assert outcomes == ["lost", "lost", "finished", "stopped"]
    assert loaded[0] is not None
    assert "coordinator ended" in loaded[0]["message"]


def test_file_that_is_no_report_is_passed_over_with_a_warning(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    files = RunFiles(tmp_path)
    files.save(report(1, "playing"))
    (tmp_path / "runs" / "0002.json").write_text("{")
    (tmp_path / "runs" / "notes.txt").write_text("mine")
    with caplog.at_level(logging.WARNING):
        files.close_unfinished()
    assert "0002.json" in caplog.text
    assert files.numbers() == [1, 2]


@pytest.mark.parametrize(
    "text",
    [
        "",
        "[]",
        "null",
        "[" * 100_000,
        '{"run": 2}',
        '{"outcome": "playing", "name": "a.nc", "message": ""}',
        '{"run": 3, "outcome": "playing", "name": "a.nc", "message": ""}',
    ],
)
def test_damaged_report_is_told_and_keeps_nothing_else_from_its_end(
    tmp_path: Path, text: str, caplog: pytest.LogCaptureFixture
) -> None:
    files = RunFiles(tmp_path)
    for run in (1, 3):
        files.save(report(run, "playing"))
    damaged = tmp_path / "runs" / "0002.json"
    damaged.write_text(text)
    with pytest.raises(DataFolderError, match=r"0002\.json"):
        files.load(2)
    with caplog.at_level(logging.WARNING):
        files.close_unfinished()
    assert "0002.json" in caplog.text
    kept = [files.load(run) for run in (1, 3)]
    assert [found["outcome"] for found in kept if found] == ["lost", "lost"]
    assert damaged.read_text() == text  # it is the owner's to look at


def test_folder_of_reports_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    (tmp_path / "runs").write_text("")
    with pytest.raises(DataFolderError, match="runs cannot be made: File exists"):
        RunFiles(tmp_path)
