"""A run's report as a value that does not change: what is shown, kept and sent."""

import math
from dataclasses import dataclass

from coordinator.codes.outcome import Outcome
from coordinator.core.run.production import Production
from coordinator.core.run.report import HoldRecord, JointStart, OverrideRecord, Report, StartRecord
from coordinator.core.stop_words import STOP_WORDS, StopWord


@dataclass(frozen=True, slots=True)
class StartOfJoint:
    """One joint at one start. Instants are arm time; None is what was never told or proved."""

    worst_delay_us: int
    """How long its link needed to get a repeated state across and back."""
    start_margin_us: int | None
    """How long before the instant it had all it needed to start."""
    clock_uncertainty_us: int | None
    """What the error of its clock map could not exceed."""
    started_at_us: int | None
    """The middle of the next two."""
    earliest_us: int | None
    """It is proved not to have started before."""
    latest_us: int | None
    """It is proved not to have started after."""


@dataclass(frozen=True, slots=True)
class StartReport:
    """One start or resume of all joints."""

    part: int
    """Of the program, from 1."""
    attempts: int
    start_delay_us: int
    """How far ahead its instant was set."""
    confirm_us: int
    """What of that was to spare, beyond what the slowest link was expected to need."""
    at_us: int
    """Its instant, arm time."""
    path_us: int
    """Path time from which it went; above 0 for a resume."""
    start_skew_us: int | None
    """From the first joint's start to the last one's."""
    start_skew_max_us: int | None
    """What that is proved not to exceed."""
    joints: dict[str, StartOfJoint]


@dataclass(frozen=True, slots=True)
class ReportOfJoint:
    """One joint at the run's first start, and at its end."""

    name: str
    start_margin_us: int | None
    clock_uncertainty_us: int | None
    started_at_us: int | None
    """Arm time."""
    finished_at_us: int | None
    """Arm time at which it reached the last point."""
    buffer_margin_us: int | None
    """How much longer its points would have lasted than the slowest delivery took."""
    hottest_c: float | None
    """The highest temperature that it told in the run; None where none was told or believed."""
    firmware: str | None
    """What it said that it runs, as the run began."""


@dataclass(frozen=True, slots=True)
class RunReport:
    """What a run was, or is so far. Of one that an older coordinator wrote, members may lack."""

    run: int
    name: str
    loops: int | None
    """How often it was to be played; `None` where it was for a time."""
    for_s: float | None
    """How long after it began another loop was begun; `None` where it was for a number of loops."""
    check_edges: bool
    """Whether home edges were checked between loops."""
    block_delete: bool
    """Whether lines that begin with a slash were left out."""
    optional_stop: bool
    """Whether M1 stopped as M0 does."""
    step_by_line: bool
    """Whether the arm waited after each line."""
    from_line: int | None
    """The line at which it began; `None` for the beginning."""
    outcome: Outcome
    message: str
    """Why it ended so, or is held; empty if there is nothing to say."""
    began_at_us: int
    """Arm time, which holds within one session of a coordinator."""
    ended_at_us: int | None
    line: int | None
    """Of the program, in which it was last; after a crash, in which it was some seconds before."""
    start: StartReport | None
    """The first of `starts`."""
    starts: tuple[StartReport, ...]
    """The first hundred and the last hundred."""
    starts_left_out: int
    """How many there were between these."""
    partial_starts: int
    """Starts in which some joints began alone."""
    holds: tuple[HoldRecord, ...]
    """The first hundred and the last hundred."""
    holds_left_out: int
    """How many there were between these."""
    overrides: tuple[OverrideRecord, ...]
    """The first hundred and the last hundred."""
    overrides_left_out: int
    """How many there were between these."""
    stop_level: StopWord | None
    """Of the stop that ended it."""
    stop_unconfirmed: tuple[str, ...]
    """Joints that have not said yet that they latched it."""
    joints: tuple[ReportOfJoint, ...]
    """Base to tool."""
    production: Production
    """What became of its loops."""
    edges_passed: dict[str, int]
    """How often each joint's home edge was checked between loops and was where it should be."""
    edges_unconfirmed: dict[str, int]
    """How often it was passed and nobody could see whether the sensor switched."""


def report_snapshot(report: Report) -> RunReport:
    """A report as it is now."""
    starts = tuple(map(start_snapshot, report.starts))
    return RunReport(
        run=report.run,
        name=report.name,
        loops=report.loops.number,
        for_s=report.loops.for_s,
        check_edges=report.loops.check_edges,
        block_delete=report.switches.block_delete,
        optional_stop=report.switches.optional_stop,
        step_by_line=report.switches.step_by_line,
        from_line=report.switches.from_line,
        outcome=report.outcome,
        message=report.told,
        began_at_us=report.began_us,
        ended_at_us=report.ended_us,
        line=report.line,
        start=starts[0] if starts else None,
        starts=starts,
        starts_left_out=report.starts_left_out,
        partial_starts=report.partial_starts,
        holds=tuple(report.holds),
        holds_left_out=report.holds_left_out,
        overrides=tuple(report.overrides),
        overrides_left_out=report.overrides_left_out,
        stop_level=STOP_WORDS.get(report.stop_level),
        stop_unconfirmed=tuple(report.stop_unconfirmed),
        joints=tuple(_joint(report, name) for name in report.joints),
        production=report.cycles.told(),
        edges_passed=dict(report.edges_passed),
        edges_unconfirmed=dict(report.edges_unconfirmed),
    )


def start_snapshot(start: StartRecord) -> StartReport:
    """A start as it is known now."""
    return StartReport(
        part=start.part,
        attempts=start.attempts,
        start_delay_us=start.start_delay_us,
        confirm_us=start.confirm_us,
        at_us=start.at_us,
        path_us=start.path_us,
        start_skew_us=start.start_skew_us,
        start_skew_max_us=start.start_skew_max_us,
        joints={
            name: StartOfJoint(
                worst_delay_us=start.worst_delay_us[name],
                start_margin_us=entry.start_margin_us,
                clock_uncertainty_us=_rounded(entry.clock_uncertainty_us),
                started_at_us=entry.started_at_us,
                earliest_us=entry.earliest_us,
                latest_us=entry.latest_us,
            )
            for name, entry in start.joints.items()
        },
    )


def _joint(report: Report, name: str) -> ReportOfJoint:
    entry = report.starts[0].joints[name] if report.starts else JointStart()
    hottest = report.hottest_centi_c.get(name)
    return ReportOfJoint(
        name=name,
        start_margin_us=entry.start_margin_us,
        clock_uncertainty_us=_rounded(entry.clock_uncertainty_us),
        started_at_us=entry.started_at_us,
        finished_at_us=report.finished_at_us.get(name),
        buffer_margin_us=report.buffer_margin_us.get(name),
        hottest_c=None if hottest is None else hottest / 100,
        firmware=report.firmware.get(name),
    )


def _rounded(value: float | None) -> int | None:
    # Up, so that a bound stays one.
    return None if value is None else math.ceil(value)
