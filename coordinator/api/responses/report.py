"""What runs were: their reports, runs in short, and the journal."""

from typing import Final

from pydantic import ConfigDict

from coordinator.answers.records import Event, RunInShort
from coordinator.answers.report import KeptReport
from coordinator.api.responses.base import DESCRIBED, ResponseModel, as_answer, eg, plain
from coordinator.api.responses.run import PRODUCTION
from coordinator.codes.level import Level
from coordinator.codes.outcome import Outcome
from coordinator.core.run.report import HoldRecord, OverrideRecord
from coordinator.core.run.report_snapshot import ReportOfJoint, StartOfJoint, StartReport

_OF_JOINT: Final = StartOfJoint(
    worst_delay_us=31_000,
    start_margin_us=171_000,
    clock_uncertainty_us=412,
    started_at_us=80_000_120,
    earliest_us=79_999_860,
    latest_us=80_000_380,
)
_START: Final = StartReport(
    part=1,
    attempts=1,
    start_delay_us=240_000,
    confirm_us=62_000,
    at_us=80_000_000,
    path_us=0,
    start_skew_us=310,
    start_skew_max_us=820,
    joints={"elbow": _OF_JOINT},
)
REPORT: Final = KeptReport(
    run=1,
    name="prick_out_tray.nc",
    loops=1,
    for_s=None,
    check_edges=False,
    block_delete=False,
    optional_stop=False,
    step_by_line=False,
    from_line=None,
    outcome=Outcome.FINISHED,
    message="",
    began_at_us=79_000_000,
    ended_at_us=89_500_000,
    line=42,
    start=_START,
    starts=(_START,),
    starts_left_out=0,
    partial_starts=0,
    holds=(HoldRecord(83_000_000, "the operator asked", {"elbow": 1_230_000}, 0, (), None),),
    holds_left_out=0,
    overrides=(OverrideRecord(82_000_000, 50.0),),
    overrides_left_out=0,
    stop_level=None,
    stop_unconfirmed=(),
    joints=(
        ReportOfJoint("elbow", 171_000, 412, 80_000_120, 89_400_090, 310_000, 41.5, "software"),
    ),
    production=PRODUCTION,
    edges_passed={},
    edges_unconfirmed={},
    began_utc="2026-05-01T10:00:20+00:00",
    ended_utc="2026-05-01T10:00:31+00:00",
    arm="bench arm",
    arm_file_sha256="9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08",
    asked_by="the terminal of gardener@bench",
    unisono_version="0.1.0",
    unwritten=(),
    written_utc="2026-05-01T10:00:31+00:00",
)

_SOME_LACK: Final = ConfigDict(json_schema_serialization_defaults_required=False)
as_answer(KeptReport, {**DESCRIBED, **_SOME_LACK})


RUN_IN_SHORT: Final = RunInShort(
    1,
    "prick_out_tray.nc",
    Outcome.FINISHED,
    "2026-05-01T10:00:20+00:00",
    "2026-05-01T10:00:31+00:00",
    None,
)
as_answer(RunInShort)


class Runs(ResponseModel):
    """Runs, newest first."""

    runs: list[RunInShort] = eg([plain(RUN_IN_SHORT)])


EVENT: Final = Event(
    id=17,
    utc="2026-05-01T10:00:20.114+00:00",
    at_us=79_000_000,
    level=Level.INFO,
    code="command-play",
    message="play prick_out_tray.nc, run 1",
    joint=None,
    who="the terminal of gardener@bench",
    detail=False,
)
as_answer(Event)


class Events(ResponseModel):
    """The journal, newest first."""

    events: list[Event] = eg([plain(EVENT)])
