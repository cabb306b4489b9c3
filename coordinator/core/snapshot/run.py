"""A run that has not ended."""

from dataclasses import dataclass
from typing import Final

from coordinator.core.obstacle import Obstacle, obstacle
from coordinator.core.run import Phase, Run
from coordinator.core.run.production import Production
from protocol.constants import PPM, US

RESUMABLE: Final = (Phase.HELD, Phase.PAUSED)
BETWEEN_PARTS: Final = (Phase.WAITING, Phase.PAUSED)


@dataclass(frozen=True, slots=True)
class StartSnapshot:
    """The start that is set, else the newest that all joints confirmed."""

    at_us: int
    """Its instant, arm time."""
    path_us: int
    """Path time from which it goes; above 0 for a resume."""
    set: bool
    """Whether it lies ahead."""
    attempts: int
    start_delay_us: int
    """How far ahead it was set."""
    start_skew_us: int | None
    """From the first joint's start to the last one's, once all have reported."""
    start_skew_max_us: int | None
    """What that is proved not to exceed."""
    start_margin_us: dict[str, int | None]
    """How long before the instant each joint had all it needed to start."""


@dataclass(frozen=True, slots=True)
class RunSnapshot:
    """The run that has not ended."""

    number: int
    name: str
    phase: Phase
    part: int
    """Of the program, from 1: a pause divides it, and an input that is awaited."""
    parts: int | None
    """None where it is played for a time."""
    line: int | None
    loop: int | None
    """The how manieth time it is played; None where nobody knows."""
    loops: int | None
    """How often it is to be played; None where it is for a time."""
    for_s: float | None
    """How long after it began another loop is begun; None where it is for a number of loops."""
    check_edges: bool
    """Whether home edges are checked between loops."""
    checks_edges_now: bool
    """Whether that is done now, before `loop` begins."""
    production: Production
    """What became of the loops so far."""
    to_go_us: int | None
    """Until all loops are done, if the rest take as long as the mean; None before one is done,
    and of those with a check of home edges one. For
    a time: until no other loop is begun."""
    path_us: int | None
    """Path time at which it is, in this part; None where nobody knows."""
    end_us: int | None
    """Path time of this part's end; None as long as it is not planned that far."""
    rate_percent: float
    """Speed in per cent of the program's."""
    attempts: int
    """That the newest start took, 0 before the first."""
    message: str
    """Why it is held; empty else."""
    lines: int
    """That the program has."""
    left_us: int | None
    """Time to the end of this part at the present speed."""
    start: StartSnapshot | None
    behind_us: dict[str, int] | None
    """While it is held, by how much path time each joint that is heard is behind the furthest."""
    awaits: str | None
    """The input behind this part and what it must be; None where none is awaited."""
    obstacle: Obstacle | None
    """While it is held or paused: why it could not go on now."""


def run_snapshot(run: Run, now: int) -> RunSnapshot:
    """A run at arm time `now`."""
    path_us = _path_us(run, now)
    line, loop = run.point_feed.line_at(path_us) if path_us is not None else (None, None)
    part = run.context.part_now
    if loop is None and not part.turns:
        loop = part.loop
    if run.phase in BETWEEN_PARTS:
        line, loop = part.end_line, part.pause_loop
    return RunSnapshot(
        number=run.number,
        name=run.play.name,
        phase=run.phase,
        part=run.part + 1,
        parts=len(run.play.parts) if run.play.loops.for_s is None else None,
        line=line,
        loop=loop,
        loops=run.play.loops.number,
        for_s=run.play.loops.for_s,
        check_edges=run.play.loops.check_edges,
        checks_edges_now=bool(run.context.part_now.edges),
        production=run.report.cycles.told(),
        to_go_us=_to_go_us(run, now),
        path_us=path_us,
        end_us=run.point_feed.end_us,
        rate_percent=run.rate_ppm / 10_000,
        attempts=run.report.starts[-1].attempts if run.report.starts else 0,
        message=run.report.told,
        lines=run.lines,
        left_us=_left_us(run, path_us),
        start=_start(run, now),
        behind_us=_behind_us(run, now),
        awaits=_awaits(run),
        obstacle=obstacle(lambda: run.require_resumable(now)) if run.phase in RESUMABLE else None,
    )


def _awaits(run: Run) -> str | None:
    awaited = run.context.part_now.awaits
    return awaited.wait.wanted if awaited is not None else None


def _to_go_us(run: Run, now: int) -> int | None:
    """Until all loops are done, by the mean; for a time until no other one is begun."""
    loops = run.play.loops
    if loops.for_s is not None:
        return max(0, run.report.began_us + round(loops.for_s * US) - now)
    assert loops.number is not None
    if not loops.several:
        return None
    return run.report.cycles.to_go_us(loops.number, now, check_edges=loops.check_edges)


def _left_us(run: Run, path_us: int | None) -> int | None:
    """Time to the end of this part at the present feed override."""
    if path_us is None or run.point_feed.end_us is None:
        return None
    return round(max(0, run.point_feed.end_us - path_us) * PPM / run.rate_ppm)


def _behind_us(run: Run, now: int) -> dict[str, int] | None:
    """By how much path time each joint that is heard is behind the furthest; None if none rests.

    A resume first brings up, slowly, whoever is behind.
    """
    if run.phase is not Phase.HELD:
        return None
    heard = [(link.name, link.status) for link in run.links if link.heard(now)]
    places = {name: status.path_us for name, status in heard if status is not None}
    furthest_us = max(places.values(), default=0)
    return {name: furthest_us - path_us for name, path_us in places.items()}


def _start(run: Run, now: int) -> StartSnapshot | None:
    """The start that is set, else the newest that all confirmed. A withdrawn one is none."""
    start = run.start
    if start is not None and start.course is not None:
        record = start.record
    else:
        record = run.report.starts[-1] if run.report.starts else None
    if record is None:
        return None
    return StartSnapshot(
        at_us=record.at_us,
        path_us=record.path_us,
        set=record.at_us > now,
        attempts=record.attempts,
        start_delay_us=record.start_delay_us,
        start_skew_us=record.start_skew_us,
        start_skew_max_us=record.start_skew_max_us,
        start_margin_us={name: joint.start_margin_us for name, joint in record.joints.items()},
    )


def _path_us(run: Run, now: int) -> int | None:
    """Where the run is on its path; from a hold on, the least far of the joints that are heard."""
    if run.phase in BETWEEN_PARTS:
        return run.point_feed.end_us or 0
    if run.phase in (Phase.HOLDING, Phase.HELD):  # no law holds while the joints ramp to rest
        known = [link.status for link in run.links if link.status is not None and link.heard(now)]
        return min((one.path_us for one in known if one.trajectory), default=None)
    return round(run.course.at(now)[0]) if run.course is not None else None
