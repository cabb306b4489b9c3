"""A run's report as it is kept."""

from dataclasses import dataclass
from typing import Annotated

from pydantic import Field

from coordinator.core.run.report_snapshot import RunReport


@dataclass(frozen=True, slots=True)
class Unwritten:
    """What the disk did not take of a run."""

    what: str
    utc: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptReport(RunReport):
    """What a run was, or is so far. Of one that an older coordinator wrote, members may lack."""

    began_utc: str | None
    """By the wall clock, as all that ends in `_utc`."""
    ended_utc: str | None
    arm: str | None
    """The arm file's name of the arm; this and the next three are not known of older runs."""
    arm_file_sha256: str | None
    """Of the arm file's text as it was then."""
    asked_by: str | None
    """Who commanded it, as that client called itself; None also where nobody is known."""
    unisono_version: str | None
    """Of the coordinator that played it."""
    unwritten: tuple[Unwritten, ...]
    """What will never be in the database."""
    written_utc: Annotated[str, Field(json_schema_extra=lambda schema: schema.pop("default"))] = ""
    """When it was written: only of a report that comes from the database."""
