"""Runs: their reports as they grow, and their programs. Functions of a connection."""

import logging
from collections.abc import Sequence
from typing import Any, Final

from sqlalchemy import Connection, delete, func, insert, select

from coordinator.store import rows
from coordinator.store.errors import InUseError, StoreError
from coordinator.store.schema import RUNS
from coordinator.store.texts import digest_of
from coordinator.store.utc import utc_now

UNFINISHED: Final = ("playing", "held", "paused")
"""Outcomes of a run that could still go on."""
_TOLD: Final = {"name", "outcome", "message"}
"""What is read of a report besides its number; the rest is for people."""
_IN_SHORT: Final = (
    RUNS.c.number.label("run"), RUNS.c.name, RUNS.c.outcome, RUNS.c.began_utc, RUNS.c.ended_utc,
    RUNS.c.taught,
)  # fmt: skip
_logger = logging.getLogger(__name__)


def begin(
    connection: Connection,
    report: dict[str, Any],
    program: str,
    taught: int | None = None,
    *,
    again: bool = False,
) -> None:
    """A run is about to begin, of something taught if that is named.

    `again` in place of one of this number that did not begin, and may not be forgotten yet. Any
    other one of this number is somebody's record: raises InUseError.
    """
    run = report["run"]
    if again:
        forget(connection, run)
    elif connection.execute(select(RUNS.c.number).where(RUNS.c.number == run)).first():
        raise InUseError(
            f"the database has a run {run} already, which this coordinator did not write: another "
            "one uses the database too. End one of them, and start this one anew"
        )
    row = {**_row(report), "program": program, "taught": taught}
    if taught is not None:
        row["taught_sha256"] = digest_of(program)
    connection.execute(insert(RUNS).values(row))


def save(connection: Connection, report: dict[str, Any]) -> None:
    """Keep a report in place of the one before, with when it was written."""
    rows.put(connection, RUNS, _row({**report, "written_utc": utc_now()}))


def forget(connection: Connection, run: int) -> None:
    """A run did not begin after all."""
    connection.execute(delete(RUNS).where(RUNS.c.number == run))


def last_number(connection: Connection) -> int:
    """The newest run's number, 0 if there was none."""
    return connection.execute(select(func.max(RUNS.c.number))).scalar() or 0


def summaries(connection: Connection, before: int | None, limit: int) -> list[dict[str, Any]]:
    """What at most `limit` runs were in short, newest first, before the run of a number if any."""
    wanted = select(*_IN_SHORT).order_by(RUNS.c.number.desc()).limit(limit)
    if before is not None:
        wanted = wanted.where(RUNS.c.number < before)
    return [dict(row) for row in connection.execute(wanted).mappings()]


def newest_of_taught(connection: Connection) -> list[dict[str, Any]]:
    """The newest run in short of each sequence and program that was ever played."""
    newest = select(func.max(RUNS.c.number)).where(RUNS.c.taught.is_not(None))
    newest = newest.group_by(RUNS.c.taught)
    wanted = select(*_IN_SHORT, RUNS.c.taught_sha256).where(RUNS.c.number.in_(newest))
    # Names of columns are no plain texts, which some encoders of JSON want.
    found = connection.execute(wanted).mappings()
    return [{str(name): value for name, value in row.items()} for row in found]


def load(connection: Connection, run: int) -> dict[str, Any] | None:
    """A report, None if there is none of that number. Raises StoreError for any other."""
    try:
        row = connection.execute(select(RUNS.c.report).where(RUNS.c.number == run)).one_or_none()
    except (ValueError, RecursionError) as error:
        raise StoreError(f"what the database holds of run {run} is no report: {error}") from error
    if row is None:
        return None
    report: Any = row.report
    if not isinstance(report, dict) or report.get("run") != run or not report.keys() >= _TOLD:
        raise StoreError(f"what the database holds of run {run} is no report of it")
    return report


def program(connection: Connection, run: int) -> str | None:
    """The exact text that was played, None where it is not known."""
    return connection.execute(select(RUNS.c.program).where(RUNS.c.number == run)).scalar()


def close_unfinished(connection: Connection) -> list[str]:
    """Say of every run that was cut short that it was; a sentence of each, oldest first."""
    told = []
    wanted = select(RUNS.c.number).where(RUNS.c.outcome.in_(UNFINISHED)).order_by(RUNS.c.number)
    found: Sequence[int] = connection.execute(wanted).scalars().all()
    for run in found:
        try:
            report = load(connection, run)
        except StoreError as error:
            # One bad report must not keep the arm from being used.
            _logger.warning("%s", error)
            continue
        assert report is not None
        message = "the coordinator ended before this run did, or before it could write its end"
        if not report.get("starts"):
            message += "; of a start nothing was written"
        save(connection, {**report, "outcome": "lost", "message": message})
        back = f"; 'unisono go --back --run {run}' leads back to it" if report.get("line") else ""
        told.append(f"run {run}, {report['name']}, was {report['outcome']}: {message}{back}")
    return told


def _row(report: dict[str, Any]) -> dict[str, Any]:
    return {
        "number": report["run"],
        "name": report["name"],
        "outcome": report["outcome"],
        "began_utc": report.get("began_utc"),
        "ended_utc": report.get("ended_utc"),
        "report": report,
    }
