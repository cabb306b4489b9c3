"""One run of a program, from loading to its end (design sections 4 and 5).

A run is a context, which lasts, and a phase, which owns all that belongs to it alone. A phase says
by a *turn* what comes next; here the next phase is made of it, as the table in `phases` allows.
"""

import math
from collections.abc import Sequence
from typing import Final

from coordinator.codes.delay import DelayKind
from coordinator.codes.level import Level
from coordinator.codes.outcome import Outcome
from coordinator.core.events import Because, Play
from coordinator.core.link.link import JointLink
from coordinator.core.link.words import listed, not_at_rest
from coordinator.core.outbox import Outbox
from coordinator.core.run.context import Context
from coordinator.core.run.discarding import Discarding, after_part
from coordinator.core.run.edge_watch import EdgeWatch
from coordinator.core.run.ended import Ended
from coordinator.core.run.held import Held
from coordinator.core.run.holding import Holding
from coordinator.core.run.loading import Loading
from coordinator.core.run.motion import Motion
from coordinator.core.run.moving import Moving
from coordinator.core.run.paused import Paused
from coordinator.core.run.phase import DriveFields, RunPhase
from coordinator.core.run.phases import Phase, follow
from coordinator.core.run.point_feed import PointFeed
from coordinator.core.run.preparing import Preparing
from coordinator.core.run.report import HoldRecord, Report
from coordinator.core.run.start import Stage, Start
from coordinator.core.run.starting import Starting
from coordinator.core.run.trouble import astray
from coordinator.core.run.turns import (
    Confirmed,
    End,
    Ending,
    GiveUp,
    HoldFor,
    Loaded,
    NextPart,
    PartDone,
    PartOver,
    Pause,
    RefusedUnlessMoved,
    Rested,
    StartAt,
    StopNow,
    Turn,
    Wait,
)
from coordinator.core.run.waiting import Waiting
from coordinator.motion.outputs import Awaited
from coordinator.programs.words import count_lines
from protocol.constants import PATH_TOLERANCE_US
from protocol.drive import StopLevel
from protocol.messages import Finished, Started
from protocol.messages import Held as HeldEvent
from protocol.pathtime import Course
from protocol.ramp import Ramp

SETTLE_US: Final = 300_000
"""After the last joint's report of its start, a few more exchanges tighten its instant."""


class Run:
    """A program being played by all joints of the arm."""

    def __init__(
        self,
        number: int,
        play: Play,
        links: list[JointLink],
        ramp: Ramp,
        skew_limit_us: float,
        outbox: Outbox,
        now: int,
    ) -> None:
        joints = tuple(link.name for link in links)
        report = Report(number, play.name, joints, now, play.loops, play.switches)
        report.firmware = {link.name: link.welcome.firmware for link in links if link.welcome}
        trajectory = outbox.trajectory_number()
        feed = PointFeed(play.parts[0], trajectory, links, outbox.request)
        self.context = Context(
            number, play, links, ramp, skew_limit_us, outbox, report, feed, trajectory
        )
        self.lines = count_lines(play.text) if play.lines is None else play.lines
        self._state: RunPhase = Loading(self.context, now)
        self._settle_us: int | None = None
        """When the newest start's instants are told as exactly as they will be known."""
        self._stepped_us = now
        self._edges = self._watch_edges()
        """While home edges are checked between two loops."""
        if self.context.part_now.is_empty:
            report.cycles.begins(now)
            self._take(after_part(self.context, now), now)

    # ---- what others see ----------------------------------------------------------------------

    @property
    def number(self) -> int:
        """Grows from run to run."""
        return self.context.number

    @property
    def play(self) -> Play:
        """The program."""
        return self.context.play

    @property
    def links(self) -> list[JointLink]:
        """All joints of the arm."""
        return self.context.links

    @property
    def report(self) -> Report:
        """What was, from first to last."""
        return self.context.report

    @property
    def phase(self) -> Phase:
        """Where it is."""
        return self._state.phase

    @property
    def part(self) -> int:
        """Index of the part that is played."""
        return self.context.part

    @property
    def point_feed(self) -> PointFeed:
        """Its points."""
        return self.context.point_feed

    @property
    def rate_ppm(self) -> int:
        """Feed override that the operator wants."""
        return self.context.rate_ppm

    @property
    def start(self) -> Start | None:
        """The start under way, or by which the arm moves."""
        return self._state.start

    @property
    def motion(self) -> Motion | None:
        """By what the joints move."""
        return self._state.motion

    @property
    def course(self) -> Course | None:
        """The law by which the arm moves, or will once the start is confirmed."""
        return self._state.course

    @property
    def cause(self) -> str:
        """Why it holds, or is held."""
        return self._state.cause

    def why_it_holds(self, link: JointLink) -> str:
        """Why the whole arm holds, or is held, where the reason is not how this joint fares."""
        return "" if self.cause.startswith(f"{link.name} ") else self.cause

    @property
    def awaited(self) -> Awaited | None:
        """The input for which it waits, or is about to; None where it waits for none."""
        return self._state.awaited

    @property
    def coming(self) -> str:
        """What it does by itself though nothing moves, a clause; empty for nothing."""
        return self._state.coming

    @property
    def may_stray(self) -> bool:
        """Whether a joint that has a fault or left the path stops the arm."""
        return self._state.may_stray

    @property
    def ends_with_restart(self) -> bool:
        """Whether a joint that has restarted ends it."""
        if isinstance(self._state, Discarding):
            return self._state.goes_on
        return self.active

    @property
    def finishes(self) -> bool:
        """Whether it has been played to its end, and joints are only to forget it yet."""
        return isinstance(self._state, Discarding) and self._state.finishes

    def note_line(self, now: int) -> None:
        """Keep in which line the arm is, for whoever wants to go back there.

        While edges are checked it is in none.
        """
        if self.context.part_now.edges:
            return
        if self.phase is Phase.MOVING and self.course is not None:
            line, _ = self.point_feed.line_at(round(self.course.at(now)[0]))
            if line:
                self.report.is_in(line, now)

    def tells_of_loss(self, link: JointLink) -> bool:
        """Whether its hold has a line, or will have, that names a joint which is not heard."""
        moves = self.phase in (Phase.STARTING, Phase.MOVING, Phase.HOLDING)
        return moves or link.name in self._state.unconfirmed

    @property
    def active(self) -> bool:
        """Whether the run is not over, so that exchanges must be frequent."""
        return self.phase is not Phase.ENDED

    def drive_fields(self, now: int) -> DriveFields:
        """Mode, plan, permit and expiry for every joint's next drive."""
        return self._state.drive_fields(now)

    def next_deadline(self) -> int | None:
        """The next instant at which `step` would do something by itself."""
        due_us = self._state.next_deadline()
        # What was due at the last step was done then, if it was to be done.
        if due_us is not None and due_us <= self._stepped_us:
            due_us = None
        settle_us = self._settle_us
        if settle_us is None or not self._state.steps or settle_us <= self._stepped_us:
            return due_us
        return settle_us if due_us is None else min(due_us, settle_us)

    # ---- commands -----------------------------------------------------------------------------

    def hold(self, because: Because, now: int) -> None:
        """Come to rest on the path, or do not start. Raises Refused where nothing can be held."""
        self._take(self._state.hold(because, now), now)

    def resume(self, now: int) -> None:
        """Go on from a hold or a pause. Raises Refused with the joint that cannot."""
        turn = self._state.resume(now)
        if turn is not None:
            self.report.turned(Outcome.PLAYING)
            self._take(turn, now)

    def require_resumable(self, now: int) -> None:
        """Raise Refused with what keeps it from going on."""
        self._state.resume(now)

    def override(self, rate_ppm: int) -> None:
        """Feed override, now where the arm moves, otherwise from the next start on."""
        self._state.override(rate_ppm)
        if rate_ppm != self.context.rate_ppm:
            self.report.cycles.speed_changed()
            self.report.grew = True
        self.context.rate_ppm = rate_ppm

    def stop(
        self, outcome: Outcome, message: str, now: int, level: StopLevel = StopLevel.NONE
    ) -> None:
        """The run is over; the stop itself, if there is one, travels in every drive."""
        if self.active:
            self.report.stop_level = level
            self.report.stopping(self.links, now)
            self._take(StopNow(Ending(outcome, message)), now)

    # ---- events -------------------------------------------------------------------------------

    def heard(self, link: JointLink) -> None:
        """A joint has told its state."""
        if self.active and (celsius := link.temperature_c) is not None:
            self.report.warmed(link.name, round(celsius * 100))

    def started(self, link: JointLink, event: Started, now: int) -> None:
        """A joint reports its start."""
        records = list(self.report.starts)
        start = self.start
        if start is not None and start.stage is Stage.STARTING and start.record:
            records.append(start.record)
        for record in records:
            if record.plan == event.plan:
                self.report.take(record, link, event)
                if record.complete:
                    self._settle_us = now + SETTLE_US
                return
        latest = self.context.latest
        first_plan = latest.first_plan if latest is not None else 0
        if event.trajectory == self.context.trajectory and event.plan > first_plan:
            self.context.count_partial()

    def finished(self, link: JointLink, event: Finished) -> None:
        """A joint reports its end."""
        if event.trajectory == self.context.trajectory:
            self.report.finished(link, event)

    def joint_held(self, link: JointLink, event: HeldEvent) -> None:
        """A joint reports that it came to rest on the path by itself, and why."""
        if event.trajectory == self.context.trajectory and isinstance(self._state, Holding):
            self._state.joint_held(link, event)

    def rebooted(self, link: JointLink, now: int) -> None:
        """A joint has booted: it knows nothing of this run and must be homed again."""
        self.context.booted.add(link.name)
        self._state.rebooted(link)
        message = f"{link.name} restarted in the middle of the run; home it before the next"
        ending = Ending(Outcome.LOST, message, is_told=True)
        self._end_at_rest(ending, f"{link.name} restarted", now)

    def relinked(self, link: JointLink, now: int) -> None:
        """A stream was opened anew within the session; what was not answered is asked again."""
        if self._state.holds_points and not self.point_feed.rewind(link):
            message = f"{link.name} does not have the points of this run any more"
            self._end_at_rest(Ending(Outcome.LOST, message), message, now)
        else:
            self._state.relinked(link, now)

    # ---- the machine --------------------------------------------------------------------------

    def step(self, now: int) -> str | None:
        """Look at what is known and go on; why the whole arm must stop, if it must.

        Called after every event and at every send.
        """
        self._stepped_us = now
        if self._settle_us is not None and now >= self._settle_us and self._state.steps:
            self._settle_us = None
            self.report.settle(self.links)
        if self._state.holds_points:
            self._feed(now)
        if self._state.may_stray and (why := astray(self.links, self.context.booted)):
            return why
        if self._edges is not None and self._state.steps and (why := self._edges.step()):
            return why
        turn = self._state.step(now)
        self._count_loops(now)
        self._follow_loops(now)
        self._take(turn, now)
        if isinstance(turn, Confirmed):
            # The drive that goes out now already carries the normal permit: with a quick ramp the
            # first one is used up within two turns.
            return self.step(now)
        return None

    def _count_loops(self, now: int) -> None:
        """Those of the part that every joint says to have left behind.

        The course does not count: a joint without power does not follow it.
        """
        if not self._state.holds_points or not self.context.part_now.turns:
            return
        told_us = min(map(self._told_us, self.links))
        if self.report.cycles.ends(self.point_feed.line_at(told_us)[1] - 1, now):
            self.report.grew = True

    def _told_us(self, link: JointLink) -> int:
        """Path time at which a joint says that it is, in this part; 0 where it says nothing."""
        status = link.status
        if status is None or status.trajectory != self.context.trajectory:
            return 0
        return status.path_us

    def _follow_loops(self, now: int) -> None:
        """Tell the figures of loops where the arm is and what its speed is."""
        cycles, course, motion = self.report.cycles, self.course, self.motion
        if self.phase is Phase.STARTING and self.start is not None and self.start.repeated_for:
            why = f"{self.start.repeated_for} had not confirmed it in time"
            cycles.held_up(DelayKind.START_REPEATED, why, now)
        if self.phase is not Phase.MOVING or course is None or motion is None:
            cycles.rests()
            return
        if not self.context.part_now.edges:
            cycles.goes(motion.rate_ppm, course.at(now)[0], now)

    def _tell_loops(self, now: int) -> None:
        """Tell the figures of loops which phase is entered."""
        cycles, part = self.report.cycles, self.context.part_now
        match self.phase:
            case Phase.HOLDING | Phase.HELD:
                cycles.held_up(DelayKind.HELD, self.cause, now)
            case Phase.PAUSED:
                cycles.held_up(DelayKind.PAUSED, self.cause, now)
            case Phase.WAITING if self.awaited is not None:
                cycles.held_up(DelayKind.WAITED, self.awaited.wait.wanted, now)
            case Phase.MOVING:
                cycles.held_up(DelayKind.EDGES_CHECKED if part.edges else None, "", now)
            case Phase.LOADING if part.edges:
                cycles.held_up(DelayKind.EDGES_CHECKED, "", now)
            case Phase.LOADING:
                cycles.starts(now)

    def _feed(self, now: int) -> None:
        feed = self.point_feed
        feed.step(now)
        if feed.failed is not None and self._state.ending is None:
            link, reject = feed.failed
            message = f"{link.name} refuses the program: {reject.message}"
            self._end_at_rest(Ending(Outcome.REFUSED, message), message, now)
        elif (why := self.context.part_now.broken_off) and self._state.ending is None:
            self._end_at_rest(Ending(Outcome.LOST, why), why, now)

    def _end_at_rest(self, ending: Ending, cause: str, now: int) -> None:
        self._take(self._state.end_at_rest(ending, cause, now), now)

    # ---- turns --------------------------------------------------------------------------------

    def _take(self, turn: Turn | None, now: int) -> None:
        """Enter the phase that a turn leads to."""
        if turn is None:
            return
        wanted = follow(self.phase, turn.trigger)
        if isinstance(turn, HoldFor):
            self.report.cycles.held(turn.cause)
        self._state = self._next(turn, now)
        assert self._state.phase is wanted
        self._tell_loops(now)
        self.context.outbox.at_once = True
        if isinstance(turn, Rested) and (ending := _ending_of(turn)):
            if turn.places.unconfirmed:
                ending = _unconfirmed(ending, turn.places.unconfirmed)
            self._take(GiveUp(ending), now)
        elif isinstance(turn, NextPart) and self.context.part_now.is_empty:
            self._take(after_part(self.context, now), now)

    def _next(self, turn: Turn, now: int) -> RunPhase:
        context, state = self.context, self._state
        match turn:
            case Loaded(holds=holds):
                return Preparing(context, now, holds=holds)
            case StartAt(stand_us=stand_us, advancing=advancing):
                return Starting(context, now, stand_us, advancing=advancing)
            case Confirmed(start=start):
                return Moving(context, now, start)
            case HoldFor(cause=cause, then=then):
                return Holding(context, now, cause, then, state.start, state.motion)
            case Rested():
                self._tell_of_rest(turn, now)
                return Held(context, now, state.cause)
            case PartDone(holds=holds):
                self.report.keep_buffer_margin(self.point_feed.buffer_margin_us)
                self.report.settle(self.links)
                self.report.turned(Outcome.PLAYING)
                self._tell_of_edges(now)
                self._tell_of_end(now)
                return Discarding(context, now, PartOver(holds))
            case GiveUp(ending=ending):
                self.report.turned(ending.outcome, ending.message)
                code = f"run-{ending.outcome}"
                context.outbox.note(
                    now, Level.ATTENTION, code, ending.message, detail=ending.is_told
                )
                return Discarding(context, now, ending)
            case Wait(awaited=awaited):
                return Waiting(context, now, awaited)
            case Pause(why=why):
                self._tell_of_pause(why, now)
                return Paused(context, now, why)
            case NextPart():
                return self._next_part(now)
            case End(ending=ending) | StopNow(ending=ending):
                return self._end(ending, now)

    def _tell_of_end(self, now: int) -> None:
        """A part is over: if another loop follows it, so is its last one, whatever is between."""
        part, following = self.context.part_now, self.context.following
        last_loop = part.loop + len(part.turns)
        if following is not None and following.loop > last_loop and part.end_line is None:
            self.report.cycles.ends(last_loop, now)

    def _tell_of_edges(self, now: int) -> None:
        """Home edges were checked: of whom it is known that they are where they should be."""
        if self._edges is None:
            return
        unconfirmed = self._edges.unconfirmed
        self.report.edges_checked(self._edges.passed, unconfirmed)
        self._edges = None
        if unconfirmed:
            message = (
                f"nobody saw whether the home sensor of {listed(unconfirmed)} switched between two "
                "loops: no status came while it was on it or beside it"
            )
            self.context.outbox.note(now, Level.ATTENTION, "edges-unconfirmed", message)

    def _tell_of_pause(self, why: str, now: int) -> None:
        if why in set(Because):
            self.report.cycles.held(why)
        else:
            self.report.cycles.paused()
        if why:
            # What was asked has a line, with who it was.
            level = Level.INFO if (is_asked := why in set(Because)) else Level.ATTENTION
            resumes = "goes on" if self.context.part_now.awaits is None else "waits for it again"
            message = f"paused: {why}; resume {resumes}"
            self.context.outbox.note(now, level, "paused", message, detail=is_asked)
        else:
            message = f"line {self.context.part_now.pause_line}: the program pauses; resume goes on"
            self.context.outbox.note(now, Level.INFO, "paused", message)
        self.report.turned(Outcome.PAUSED, why)

    def _next_part(self, now: int) -> RunPhase:
        context = self.context
        context.switched = context.switched_by(math.inf)
        context.part += 1
        context.trajectory = context.outbox.trajectory_number()
        self.report.cycles.ends(context.part_now.loop - 1, now)
        self._edges = self._watch_edges()
        context.point_feed = PointFeed(
            context.part_now, context.trajectory, context.links, context.outbox.request
        )
        return Loading(context, now)

    def _watch_edges(self) -> EdgeWatch | None:
        """For the part that begins."""
        context, edges = self.context, self.context.part_now.edges
        return EdgeWatch(edges, context.links, context.trajectory) if edges else None

    def _tell_of_rest(self, rested: Rested, now: int) -> None:
        context, cause, places = self.context, self._state.cause, rested.places
        stand_us = context.latest.stand_us if context.latest is not None else 0
        if places.is_partial(stand_us, confirmed=rested.confirmed):
            context.count_partial()
        apart, unconfirmed, by_us = places.apart_us, places.unconfirmed, places.rests_by_us
        self.report.held(HoldRecord(now, cause, places.path_us, apart, unconfirmed, by_us))
        words = "level" if apart == 0 else f"{apart / 1e3:.0f} ms of path time apart"
        unknown = places.unknown
        whom = f"the joints but {', '.join(unknown)}" if unknown else "all joints"
        said = f"{whom} {words}" if places.known else "where is not known"
        if unconfirmed:
            said += f"; {not_at_rest(unconfirmed)}"
            if by_us is not None:
                rules = (
                    "its own rules it does" if len(unconfirmed) == 1 else "their own rules they do"
                )
                said += f", by {rules} within {math.ceil((by_us - now) / 1e5) / 10:.1f} s"
        # What was asked has a line, with who it was; so has the end that follows.
        as_asked = cause in set(Because) and not unknown and apart <= PATH_TOLERANCE_US
        level = Level.INFO if as_asked else Level.ATTENTION
        context.outbox.note(
            now, level, "held", f"held, {said}: {cause}",
            detail=_ending_of(rested) is not None or (as_asked and not unconfirmed),
        )  # fmt: skip

    def _end(self, ending: Ending, now: int) -> RunPhase:
        self.report.settle(self.links)
        self.report.turned(ending.outcome, ending.message)
        self.report.ended_us = now
        self.report.cycles.held_up(None, "", now)
        if ending.outcome is Outcome.FINISHED:
            part = self.context.part_now
            last_loop = self.play.loops.number or part.loop - bool(part.edges)
            self.report.cycles.ends(last_loop, now)
            done = f"run {self.number} finished: {self.play.name}"
            self.context.outbox.note(now, Level.INFO, "run-finished", done)
        return Ended(self.context, now)


def _unconfirmed(ending: Ending, names: Sequence[str]) -> Ending:
    """The same, with who rested by their own rules alone: nothing else has told of that."""
    message = f"at the end {not_at_rest(names, had=True)}; {ending.message}"
    return Ending(ending.outcome, message)


def _ending_of(rested: Rested) -> Ending | None:
    """With what a run ends whose joints have come to rest, None where it can be resumed."""
    match rested.then:
        case RefusedUnlessMoved(message=message):
            return Ending(Outcome.REFUSED, message) if not any(rested.places.known) else None
        case then:
            return then
