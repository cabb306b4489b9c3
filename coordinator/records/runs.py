"""Reports of runs, kept in the database as they grow, so that a proof outlives a coordinator that
dies.

The disk may be slow while the arm moves: nothing here waits for it but whoever asks. Of a report
that grew several times while the disk was busy, only the newest state is written. A disk that
fails stops no run; its report says what is missing.
"""

import asyncio
import logging
from collections import defaultdict
from collections.abc import Coroutine, Mapping
from dataclasses import asdict, dataclass
from typing import Any, Final

from coordinator.core.run.report import Report
from coordinator.core.run.report_snapshot import report_snapshot
from coordinator.records.trouble_log import TroubleLog
from coordinator.store import DISK_S, Store, StoreError, runs
from coordinator.store.errors import InUseError
from coordinator.store.utc import utc_now

MAX_LOST: Final = 100
"""Lost records that a run's report names."""
_logger = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class PlayedBy:
    """What plays the runs of one coordinator, told in their reports."""

    arm: str | None = None
    arm_file_sha256: str | None = None
    unisono_version: str | None = None


class RunKeeper:
    """Keeps the reports in `live`, and knows those in the database. Belongs to one event loop."""

    def __init__(
        self, store: Store, live: Mapping[int, Report], played_by: PlayedBy = PlayedBy()
    ) -> None:
        self._store = store
        self._live = live
        self._played_by = played_by
        self._ended: set[int] = set()
        """Runs of `live` whose end is on the disk, as far as the disk takes it."""
        self._utc: defaultdict[int, dict[str, str]] = defaultdict(dict)
        """When runs began and ended by the wall clock, for people: nothing depends on it."""
        self._taught: dict[int, int | None] = {}
        """The sequence or kept program that a run plays."""
        self._asked_by: dict[int, str | None] = {}
        """Who commanded a run."""
        self._saving = asyncio.Lock()
        self._waiting: set[int] = set()
        """Runs whose newest state is written once the disk is done with what is before it."""
        self._unsaved: dict[int, dict[str, str]] = {}
        """Runs whose newest state the disk did not take, and why."""
        self._lost: defaultdict[int, list[dict[str, str]]] = defaultdict(list)
        self._tasks: set[asyncio.Task[None]] = set()
        self._trouble = TroubleLog(_logger)

    async def begin(
        self, report: Report, program: str, taught: int | None = None, who: str | None = None
    ) -> None:
        """A run is about to begin, of something taught and by somebody if named; returns once it is
        recorded.

        Raises StoreError where it cannot be, and then it must not begin.
        """
        again = report.run in self._utc
        for gone in self._utc.keys() - self._live.keys():
            del self._utc[gone]
            self._lost.pop(gone, None)
            self._taught.pop(gone, None)
            self._asked_by.pop(gone, None)
            self._unsaved.pop(gone, None)
        self._ended &= self._live.keys()
        self._utc[report.run]["began_utc"] = utc_now()
        self._taught[report.run] = taught
        self._asked_by[report.run] = who
        first = self._as_json(report)
        try:
            await self._store.confirmed(
                lambda connection: runs.begin(connection, first, program, taught, again=again)
            )
        except InUseError:
            if not again:  # what has that number is another coordinator's
                del self._utc[report.run]
            raise
        except (StoreError, asyncio.CancelledError):
            # A disk that was only slow may record it yet.
            self._start(self._forget(report.run))
            raise

    async def forget(self, run: int) -> None:
        """A run did not begin after all."""
        # If the disk hangs it is forgotten later; nobody waits so long.
        await asyncio.wait([self._start(self._forget(run))], timeout=DISK_S)

    def grew(self, run: int) -> None:
        """A run's report has something new, which is written as soon as may be."""
        if self._live[run].ended_us is not None:
            self._utc[run].setdefault("ended_utc", utc_now())
        if run not in self._waiting:
            self._waiting.add(run)
            self._start(self._save(run))

    async def summaries(self, before: int | None, limit: int) -> list[dict[str, Any]]:
        """What runs were in short, newest first, before a run if any. Raises StoreError."""
        kept = await self._store.read(lambda connection: runs.summaries(connection, before, limit))
        found = {one["run"]: one for one in kept}
        found |= {
            run: self._in_short(report)
            for run, report in self._live.items()
            if before is None or run < before
        }
        return [found[run] for run in sorted(found, reverse=True)[:limit]]

    async def newest_of_taught(self) -> list[dict[str, Any]]:
        """The newest run of each sequence and program ever played, with `taught_sha256`."""
        found = await self._store.read(runs.newest_of_taught)
        live = {run: self._in_short(report) for run, report in self._live.items()}
        # As it is now, with the digest from the disk, on which every run is before it begins.
        return [one | live.get(one["run"], {}) for one in found]

    def _in_short(self, report: Report) -> dict[str, Any]:
        return {
            "run": report.run,
            "name": report.name,
            "outcome": report.outcome,
            "began_utc": None,
            "ended_utc": None,
            **self._utc.get(report.run, {}),
            "taught": self._taught.get(report.run),
        }

    def is_ended(self, run: int) -> bool:
        """Whether a run's end is on the disk, as far as the disk takes it."""
        return run in self._ended or run not in self._live

    async def report(self, run: int) -> dict[str, Any] | None:
        """A run's report, None if there is none of that number. Raises StoreError."""
        live = self._live.get(run)
        if live is None:
            return await self._store.read(lambda connection: runs.load(connection, run))
        report = self._as_json(live)
        if run in self._unsaved:
            report["unwritten"].insert(0, self._unsaved[run])
        return report

    async def program(self, run: int) -> str | None:
        """The exact text that was played, None where it is not known. Raises StoreError."""
        return await self._store.read(lambda connection: runs.program(connection, run))

    def lost(self, run: int, what: str, why: str) -> None:
        """Something of a run could not be recorded, and will not be."""
        if len(self._lost[run]) < MAX_LOST:
            self._lost[run].append({"what": what, "utc": utc_now(), "why": why})

    async def close(self) -> None:
        """Write what is not written yet."""
        await asyncio.gather(*self._tasks)
        if still := self._unsaved.keys() & self._live.keys():
            await self._save(max(still))

    def _as_json(self, report: Report) -> dict[str, Any]:
        """A report with what is known here; `unwritten` is what will never be in the database."""
        utc = {"began_utc": None, "ended_utc": None, **self._utc[report.run]}
        return {
            **asdict(report_snapshot(report)),
            **utc,
            **asdict(self._played_by),
            "asked_by": self._asked_by.get(report.run),
            "unwritten": list(self._lost.get(report.run, ())),
        }

    def _start(self, work: Coroutine[Any, Any, None]) -> asyncio.Task[None]:
        task = asyncio.get_running_loop().create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)
        return task

    async def _forget(self, run: int) -> None:
        try:
            await self._store.write(lambda connection: runs.forget(connection, run))
        except StoreError as error:  # the next run takes its place
            _logger.error("run %d, which did not begin, is still recorded: %s", run, error)

    async def _save(self, run: int) -> None:
        async with self._saving:
            self._waiting.discard(run)
            due = sorted({run, *self._unsaved} & self._live.keys())
            reports = [self._as_json(self._live[one]) for one in due]
            try:
                await self._store.write(lambda connection: _save_all(connection, reports))
                self._unsaved.clear()
                self._trouble.over()
            except StoreError as error:
                why = str(error)
                self._unsaved.setdefault(run, {"what": "report", "utc": utc_now(), "why": why})
                self._trouble.add(why, f"the report of run {run} is not kept: {why}")
            self._ended |= {one["run"] for one in reports if one["ended_at_us"] is not None}


def _save_all(connection: Any, reports: list[dict[str, Any]]) -> None:
    for report in reports:
        runs.save(connection, report)
