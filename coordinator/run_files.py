"""Reports of runs as files, so that they outlive the coordinator.

One JSON file per run, `runs/NNNN.json`, written when the run begins and whenever its report grows.
A run without an end in its file is one whose coordinator died; `close_unfinished` tells so.
"""

import json
import logging
import re
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

from coordinator.data_folder import DataFolderError, write_whole

_NAME: Final = re.compile(r"(\d{4,})\.json")
UNFINISHED: Final = ("playing", "held")
"""Outcomes of a run that could still go on."""
_TOLD: Final = {"name", "outcome", "message"}
"""What is read of a report besides its number; the rest is for people."""
_logger = logging.getLogger(__name__)


def utc_now() -> str:
    """The time of day for a record; nothing depends on it, since it may be set at any time."""
    return datetime.now(UTC).isoformat(timespec="seconds")


class RunFiles:
    """The folder of reports. Raises DataFolderError where the disk fails."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder / "runs"
        try:
            self._folder.mkdir(mode=0o700, exist_ok=True)
        except OSError as error:
            raise DataFolderError(f"{self._folder} cannot be made: {error.strerror}") from error

    def numbers(self) -> list[int]:
        """All runs that there are reports of, oldest first."""
        found = (_NAME.fullmatch(path.name) for path in self._folder.iterdir())
        return sorted(int(match[1]) for match in found if match)

    def save(self, report: dict[str, Any]) -> None:
        """Write a report with when it was written, in UTC, which nothing depends on."""
        written = {**report, "written_utc": utc_now()}
        path = self._path(report["run"])
        write_whole(path, json.dumps(written, indent=1) + "\n")

    def load(self, run: int) -> dict[str, Any] | None:
        """A report, None if there is none of that number. Raises DataFolderError for any other."""
        try:
            report: Any = json.loads(self._path(run).read_text(encoding="utf-8"))
        except FileNotFoundError:
            return None
        except (OSError, ValueError, RecursionError) as error:
            raise DataFolderError(f"{self._path(run)} cannot be read: {error}") from error
        if not isinstance(report, dict) or report.get("run") != run or not report.keys() >= _TOLD:
            raise DataFolderError(f"{self._path(run)} holds no report of run {run}")
        return report

    def close_unfinished(self) -> None:
        """Say of every run that was cut short that it was."""
        for run in self.numbers():
            try:
                report = self.load(run)
            except DataFolderError as error:
                # One bad file must not keep the arm from being used.
                _logger.warning("%s", error)
                continue
            if report is not None and report.get("outcome") in UNFINISHED:
                message = "the coordinator ended in the middle of this run"
                self.save({**report, "outcome": "lost", "message": message})

    def _path(self, run: int) -> Path:
        return self._folder / f"{run:04d}.json"
