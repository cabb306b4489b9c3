"""Reports of runs, kept on the disk as they grow, so that a proof outlives a coordinator that dies.

The disk may be slow while the arm moves: files are written and read in a thread. Of a report that
grew several times while the disk was busy, only the newest state is written.
"""

import asyncio
import logging
from collections import defaultdict
from collections.abc import Mapping
from typing import Any

from coordinator.core.report import Report
from coordinator.data_folder import DataFolderError
from coordinator.run_files import RunFiles, utc_now

_logger = logging.getLogger(__name__)


class RunKeeper:
    """Keeps the reports in `live`, and knows those in `files`. Belongs to one event loop."""

    def __init__(self, files: RunFiles, live: Mapping[int, Report]) -> None:
        self._files = files
        self._live = live
        self._ended = set(files.numbers())
        """Runs whose end is on the disk."""
        self._utc: defaultdict[int, dict[str, str]] = defaultdict(dict)
        """When runs began and ended by the wall clock, for people: nothing depends on it."""
        self._saving = asyncio.Lock()
        self._waiting: set[int] = set()
        """Runs whose newest state is written once the disk is done with what is before it."""
        self._tasks: set[asyncio.Task[None]] = set()
        self._trouble = ""

    async def begin(self, run: int) -> None:
        """A run has begun; returns once it is on the disk, or cannot be."""
        self._utc[run]["began_utc"] = utc_now()
        for gone in self._utc.keys() - self._live.keys():
            del self._utc[gone]
        await self._save(run)

    def grew(self, run: int) -> None:
        """A run's report has something new, which is written as soon as may be."""
        if self._live[run].ended_us is not None:
            self._utc[run].setdefault("ended_utc", utc_now())
        if run not in self._waiting:
            self._waiting.add(run)
            task = asyncio.get_running_loop().create_task(self._save(run))
            self._tasks.add(task)
            task.add_done_callback(self._tasks.discard)

    def runs(self) -> list[int]:
        """Numbers of all runs, oldest first."""
        return sorted(self._ended | self._live.keys())

    def is_ended(self, run: int) -> bool:
        """Whether a run's end is on the disk, as far as the disk takes it."""
        return run in self._ended

    async def report(self, run: int) -> dict[str, Any] | None:
        """A run's report, None if there is none of that number. Raises DataFolderError."""
        live = self._live_report(run)
        return live if live is not None else await asyncio.to_thread(self._files.load, run)

    async def close(self) -> None:
        """Write what is not written yet."""
        await asyncio.gather(*self._tasks)

    def _live_report(self, run: int) -> dict[str, Any] | None:
        live = self._live.get(run)
        if live is None:
            return None
        return {**live.to_json(), "began_utc": None, "ended_utc": None, **self._utc[run]}

    async def _save(self, run: int) -> None:
        async with self._saving:
            self._waiting.discard(run)
            report = self._live_report(run)
            assert report is not None
            try:
                await asyncio.to_thread(self._files.save, report)
                self._trouble = ""
            except DataFolderError as error:
                level = logging.DEBUG if str(error) == self._trouble else logging.ERROR
                _logger.log(level, "the report of run %d is not kept: %s", run, error)
                self._trouble = str(error)
            if report["ended_at_us"] is not None:
                self._ended.add(run)
