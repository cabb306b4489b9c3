"""One run of a program, from loading to its end (design sections 4 and 5).

A run plays its parts one after another, each a trajectory: load, prepare, start, move, discard;
between parts it pauses for the operator. `Start` and `Moving` do the fine work; this file holds
what may follow what, and sees to it that whatever ends a run discards its trajectory.
"""

from enum import StrEnum

from coordinator.core.answers import Answers
from coordinator.core.events import Play, Refused
from coordinator.core.feed import Feed
from coordinator.core.link import JointLink
from coordinator.core.loading import not_loaded, too_short
from coordinator.core.moving import Moving
from coordinator.core.outbox import Outbox, no_matter
from coordinator.core.readiness import require_on_path
from coordinator.core.report import Report
from coordinator.core.rest import Places, Rest
from coordinator.core.start import Stage, Start
from coordinator.programs.words import count_lines
from protocol.constants import PPM, RATE_MAX_PPM
from protocol.drive import Mode, Plan, StopLevel
from protocol.messages import Discard, Finished, Prepare, Started
from protocol.pathtime import Course
from protocol.ramp import Ramp
from protocol.states import JointState

LOAD_PATIENCE_US = 15_000_000
"""Covers the first 50 exchanges at 25 Hz and a full buffer over a poor link."""
ANSWER_PATIENCE_US = 5_000_000
"""For a prepare or discard: several retransmissions of a small TCP stack."""
SETTLE_US = 300_000
"""After the last joint's report of its start, a few more exchanges tighten its instant."""
OPERATOR = "the operator asked"
"""Cause of a hold in the report."""

S = JointState


class Phase(StrEnum):
    """Where a run is."""

    LOADING = "loading"
    PREPARING = "preparing"
    STARTING = "starting"
    MOVING = "moving"
    HOLDING = "holding"
    HELD = "held"
    DISCARDING = "discarding"
    PAUSED = "paused"
    ENDED = "ended"


class Run:
    """A program being played by all joints of the arm."""

    def __init__(
        self, number: int, play: Play, links: list[JointLink], ramp: Ramp, outbox: Outbox, now: int
    ) -> None:
        self.number = number
        self.play = play
        self.lines = count_lines(play.text)
        self.links = links
        self.report = Report(number, play.name, tuple(link.name for link in links), now)
        self.phase = Phase.LOADING
        self.rate_ppm = RATE_MAX_PPM
        self.part = -1
        self.feed: Feed
        self.start: Start | None = None
        self.moving: Moving | None = None
        self.stop_all: str | None = None
        """Set when the whole arm must stop; the machine above sees to it."""
        self._ramp = ramp
        self._outbox = outbox
        self._trajectory = 0
        self._withdrawal: Plan | None = None
        self._since_us = now
        self._answers: Answers | None = None
        self._cause = ""
        self._holding: Rest | None = None
        self._start_refused: str | None = None
        self._stand_us = self._first_plan = 0
        """Path time and first plan number of the latest start."""
        self._partial = False
        """Whether that start is known to be a partial one."""
        self._held_before = False
        """Whether a hold was asked for before there was anything to hold."""
        self._settle_us: int | None = None
        self._booted: set[str] = set()
        self._doom: tuple[str, str] | None = None
        """Outcome and message with which the run ends once its joints rest."""
        self._begin_part(now)

    # ---- what the drive carries ---------------------------------------------------------------

    def drive_fields(self, now: int) -> tuple[Mode, Plan | None, int | None, int | None]:
        """Mode, plan, lease and expiry for every joint's next drive."""
        if self.phase is Phase.STARTING and self.start is not None:
            start = self.start
            return Mode.PATH, start.plan, start.lease_us, start.expiry_us(now)
        if self.phase in (Phase.MOVING, Phase.HOLDING) and self.moving is not None:
            return Mode.PATH, self.moving.plan, self.moving.lease.offer_us, None
        if self.phase is Phase.HOLDING:
            return Mode.PATH, self._withdrawal, None, None
        return Mode.NONE, None, None, None

    @property
    def active(self) -> bool:
        """Whether the run is not over, so that exchanges must be frequent."""
        return self.phase is not Phase.ENDED

    @property
    def course(self) -> Course | None:
        """The law by which the arm moves, or will once the start is confirmed."""
        if self.moving is not None:
            return self.moving.course
        return self.start.course if self.start is not None else None

    def next_deadline(self) -> int | None:
        """The next instant at which `step` would do something by itself."""
        if self.phase is Phase.STARTING and self.start is not None:
            return self.start.next_deadline()
        if self.phase is Phase.MOVING and self.moving is not None:
            return self.moving.next_deadline()
        return None

    # ---- commands -----------------------------------------------------------------------------

    def hold(self, now: int) -> None:
        """Come to rest on the path, or do not start. Raises Refused where nothing can be held."""
        match self.phase:
            case Phase.LOADING | Phase.PREPARING:
                self._held_before = True
            case Phase.STARTING | Phase.MOVING:
                self._hold(OPERATOR, now)
            case Phase.PAUSED:
                line = self.play.parts[self.part].pause_line
                raise Refused(
                    "nothing-moves",
                    f"run {self.number} waits for resume at the M0 of line {line}; nothing moves",
                )
            case Phase.DISCARDING | Phase.ENDED:
                raise Refused("nothing-moves", f"run {self.number} is {self.phase}, not moving")

    def resume(self, now: int) -> None:
        """Go on from a hold or a pause. Raises Refused with the joint that cannot."""
        if self._held_before:
            self._held_before = False
            return
        if self.phase not in (Phase.HELD, Phase.PAUSED):
            raise Refused("not-held", f"run {self.number} is {self.phase}, not held or paused")
        self.require_resumable(now)
        self.report.turned("playing")
        if self.phase is Phase.PAUSED:
            if self.part + 1 < len(self.play.parts):
                self._begin_part(now)
            else:
                self._end("finished", "", now)
            return
        furthest = max(link.status.path_us if link.status else 0 for link in self.links)
        self._begin_start(furthest, now, advancing=True)

    def require_resumable(self, now: int) -> None:
        """Raise Refused with the joint that could not go on."""
        for link in self.links:
            require_on_path(link, now)

    def override(self, rate_ppm: int) -> None:
        """Feed override, now where the arm moves, otherwise from the next start on."""
        if self.moving is not None and self.phase is Phase.MOVING:
            self.moving.override(rate_ppm)
        self.rate_ppm = rate_ppm

    def stop(self, outcome: str, message: str, now: int, level: StopLevel = StopLevel.NONE) -> None:
        """The run is over; the stop itself, if there is one, travels in every drive."""
        if self.phase is not Phase.ENDED:
            self.report.stop_level = level
            self.report.stopping(self.links)
            self._end(outcome, message, now)

    # ---- events -------------------------------------------------------------------------------

    def started(self, link: JointLink, event: Started, now: int) -> None:
        """A joint reports its start."""
        records = list(self.report.starts)
        if self.start is not None and self.start.stage is Stage.STARTING and self.start.record:
            records.append(self.start.record)
        for record in records:
            if record.plan == event.plan:
                self.report.take(record, link, event)
                if record.complete:
                    self._settle_us = now + SETTLE_US
                return
        if event.trajectory == self._trajectory and event.plan > self._first_plan:
            self._count_partial()

    def _count_partial(self) -> None:
        """The latest start is a partial one, counted once however many signs there are of it."""
        if not self._partial:
            self._partial = True
            self.report.partial()

    def finished(self, link: JointLink, event: Finished) -> None:
        """A joint reports its end."""
        if event.trajectory == self._trajectory:
            self.report.finished(link, event)

    def rebooted(self, link: JointLink, now: int) -> None:
        """A joint has booted: it knows nothing of this run and must be homed again."""
        self._booted.add(link.name)
        if self.phase is Phase.DISCARDING and self._answers is not None:
            self._answers.excuse(link)
        message = f"{link.name} restarted in the middle of the run; home it before the next"
        self._end_at_rest("lost", message, f"{link.name} restarted", now)

    def relinked(self, link: JointLink, now: int) -> None:
        """A stream was opened anew within the session; what was not answered is asked again."""
        if self.phase in (Phase.ENDED, Phase.PAUSED):
            return
        known = link.welcome.trajectory if link.welcome is not None else 0
        if self.phase is Phase.LOADING and known not in (0, self._trajectory):
            self._outbox.request(link, Discard(), no_matter, now)
        if self.phase is not Phase.DISCARDING and not self.feed.rewind(link):
            message = f"{link.name} does not have the points of this run any more"
            self._end_at_rest("lost", message, message, now)
        elif self.phase in (Phase.PREPARING, Phase.DISCARDING) and self._answers is not None:
            self._answers.ask_again(link, now)

    # ---- the machine --------------------------------------------------------------------------

    def step(self, now: int) -> None:
        """Look at what is known and go on. Called after every event and at every send."""
        if self.phase in (Phase.ENDED, Phase.PAUSED):
            return
        if self._settle_us is not None and now >= self._settle_us:
            self._settle_us = None
            self.report.settle(self.links)
        if self.phase is not Phase.DISCARDING:
            self.feed.step(now)
            if self.feed.failed is not None and self._doom is None:
                link, reject = self.feed.failed
                message = f"{link.name} refuses the program: {reject.message}"
                self._end_at_rest("refused", message, message, now)
        match self.phase:
            case Phase.LOADING:
                self._load(now)
            case Phase.PREPARING | Phase.DISCARDING:
                self._await_answers(now)
            case Phase.STARTING:
                self._follow_start(now)
            case Phase.MOVING:
                self._move(now)
            case Phase.HOLDING:
                self._await_rest(now)
            case Phase.HELD:
                self._astray()

    def _enter(self, phase: Phase, now: int) -> None:
        self.phase = phase
        self._since_us = now
        self._outbox.at_once = True

    def _begin_part(self, now: int) -> None:
        self.part += 1
        self._trajectory = self._outbox.trajectory_number()
        self.start = self.moving = None
        part = self.play.parts[self.part]
        self.feed = Feed(part, self._trajectory, self.links, self._outbox.request)
        if part.is_empty:
            # Only there because it ends in a pause: there is nothing to load.
            self._part_over(now)
        else:
            self._enter(Phase.LOADING, now)

    # ---- load, prepare, discard ---------------------------------------------------------------

    def _load(self, now: int) -> None:
        waiting = [(link, why) for link in self.links if (why := not_loaded(link, self.feed))]
        if waiting:
            if now - self._since_us > LOAD_PATIENCE_US:
                link, why = waiting[0]
                self._give_up("refused", f"{link.name} could not be made ready: {why}", now)
            return
        fall_us = round(self._ramp.fall_path(self.rate_ppm / PPM))
        short = too_short(self.links, self.feed, fall_us)
        if short is not None:
            self._give_up("refused", short, now)
        else:
            self._ask(Prepare(trajectory=self._trajectory), Phase.PREPARING, now)

    def _ask(self, request: Prepare | Discard, phase: Phase, now: int) -> None:
        """Send one request to every joint that can hear, and await all answers."""
        self._answers = Answers(request, self.links, self._outbox, now)
        self._enter(phase, now)
        for link in self.links:
            if phase is Phase.DISCARDING and not link.up and not link.heard(now):
                # It is not waited for: the next command discards before anything else.
                self._answers.excuse(link)

    def _await_answers(self, now: int) -> None:
        assert self._answers is not None
        preparing = self.phase is Phase.PREPARING
        refusal, silent = self._answers.refusal, self._answers.silent
        if preparing and refusal is not None:
            name, reject = refusal
            self._give_up("refused", f"{name} cannot play: {reject.message}", now)
        elif silent and now - self._since_us <= ANSWER_PATIENCE_US:
            return
        elif not preparing:
            self._discarded(now)
        elif silent:
            self._give_up("refused", f"{silent[0]} does not answer *prepare*", now)
        elif self._held_before:
            self._held_before = False
            self._hold(OPERATOR, now)
        else:
            self._begin_start(0, now, advancing=False)

    def _discarded(self, now: int) -> None:
        if self.report.outcome == "playing":
            self._part_over(now)
        else:
            self._end(self.report.outcome, self.report.message, now)

    def _part_over(self, now: int) -> None:
        """Nothing of the part is left: pause for the operator, or end."""
        line = self.play.parts[self.part].pause_line
        if line is None:
            self._end("finished", "", now)
        else:
            self._outbox.note(now, "info", "paused", f"line {line}: M0 waits; resume goes on")
            self.report.turned("paused")
            self._enter(Phase.PAUSED, now)

    # ---- start --------------------------------------------------------------------------------

    def _begin_start(self, stand_us: int, now: int, *, advancing: bool) -> None:
        self.moving = None
        self.start = Start(
            self._trajectory,
            stand_us,
            self.rate_ppm,
            self.links,
            self._ramp,
            self._outbox,
            now,
            advancing=advancing,
        )
        self._stand_us, self._first_plan = stand_us, self.start.plan.number
        self._partial = False
        self._enter(Phase.STARTING, now)

    def _follow_start(self, now: int) -> None:
        start = self.start
        assert start is not None
        if self._astray():
            return
        before = start.stage
        start.step(now)
        if start.stage is not before:
            self._outbox.at_once = True
        match start.stage:
            case Stage.CONFIRMED:
                assert start.record is not None
                start.record.part = self.part + 1
                self.report.began(start.record)
                self.moving = Moving(start, self.links, self._ramp, self.feed, self._outbox)
                self.report.goes_at(self.moving.rate_ppm, start.record.at_us)
                if self.rate_ppm != self.moving.rate_ppm:
                    # Asked for while the start was on its way.
                    self.moving.override(self.rate_ppm)
                self._enter(Phase.MOVING, now)
                # The drive that goes out now already carries the normal lease: with a quick ramp
                # the first one is used up within two turns.
                self._move(now)
            case Stage.AT_END:
                self._part_done(now)
            case Stage.PARTIAL:
                self._count_partial()
                self._outbox.note(now, "attention", "partial-start", start.message)
                self._hold(start.message, now)
            case Stage.REFUSED:
                self._outbox.note(now, "attention", "start-refused", start.message)
                if not self.report.starts:
                    self._start_refused = start.message
                # A withdrawal may be lost too: whoever began alone all the same must rest first.
                self._hold(start.message, now)

    # ---- moving, hold and rest ----------------------------------------------------------------

    def _move(self, now: int) -> None:
        assert self.moving is not None
        if self._astray():
            return
        if self._at_end():
            self._part_done(now)
            return
        for link in self.links:
            if not link.heard(now):
                self.moving.lease.level()
                self._hold(f"nothing was heard from {link.name} for 1 s", now)
                return
            if not link.clock.locked:
                self._hold(f"{link.name}: {link.clock.reason}", now)
                return
        levelling = self.moving.step(now)
        self.report.goes_at(self.moving.rate_ppm, now)
        if levelling is not None:
            self._hold(levelling, now)

    def _hold(self, cause: str, now: int) -> None:
        """Lower the lease, or withdraw the start; carried until every joint is known to rest."""
        self._cause = cause
        self._holding = Rest(self.links, self.moving, self._booted, self._ramp, now)
        if self.moving is not None:
            self.moving.hold(now)
            self.rate_ppm = self.moving.wanted_ppm
        else:
            stand_us = self.start.plan.stand_us if self.start else 0
            self._withdrawal = Plan(self._outbox.plan_number(), self._trajectory, stand_us)
        self._outbox.note(now, "attention", "holding", f"holding: {cause}")
        self._enter(Phase.HOLDING, now)

    def _await_rest(self, now: int) -> None:
        if self._astray():
            return
        if self._at_end():
            self._part_done(now)
            return
        assert self._holding is not None
        if self._holding.reached(now):
            self._rest(self._holding.places(now), now)

    def _rest(self, places: Places, now: int) -> None:
        if places.is_partial(self._stand_us, confirmed=self.moving is not None):
            self._count_partial()
        apart = places.apart_us
        self.report.held(self._cause, places.path_us, apart, now)
        self.start = self.moving = self._holding = None
        self._enter(Phase.HELD, now)
        words = "level" if apart == 0 else f"{apart / 1e3:.0f} ms of path time apart"
        unknown = ", ".join(places.unknown)
        whom = f"the joints but {unknown}" if unknown else "all joints"
        self._outbox.note(now, "info", "held", f"held, {whom} {words} ({self._cause})")
        if self._start_refused is not None and not any(places.known):
            self._doom = self._doom or ("refused", self._start_refused)
        self._start_refused = None
        if self._doom is not None:
            self._give_up(*self._doom, now)

    def _at_end(self) -> bool:
        return all(link.finished(self._trajectory) for link in self.links)

    # ---- what can go wrong --------------------------------------------------------------------

    def _astray(self) -> bool:
        """Ask for a stop when a joint has a fault or left the path; True if one has."""
        for link in self.links:
            status = link.status
            if status is None or link.name in self._booted:
                continue
            if status.faults:
                self.stop_all = f"{link.name} has a fault: {', '.join(status.faults.words)}"
                return True
            if link.in_state(S.UNHOMED, S.HOMING, S.JOGGING, S.STOPPING) or status.stop:
                self.stop_all = f"{link.name} is {status.state.word} and left the path"
                return True
        return False

    # ---- endings ------------------------------------------------------------------------------

    def _part_done(self, now: int) -> None:
        self.report.keep_slack(self.feed.feed_slack_us)
        self.report.settle(self.links)
        self.report.turned("playing")
        self.start = self.moving = None
        self._ask(Discard(), Phase.DISCARDING, now)

    def _end_at_rest(self, outcome: str, message: str, cause: str, now: int) -> None:
        """End the run, after a hold where it moves or may start."""
        if self.phase in (Phase.ENDED, Phase.DISCARDING):
            return
        self._doom = (outcome, message)
        if self.phase in (Phase.STARTING, Phase.MOVING):
            self._hold(cause, now)
        elif self.phase is not Phase.HOLDING:
            self._give_up(outcome, message, now)

    def _give_up(self, outcome: str, message: str, now: int) -> None:
        self.report.turned(outcome, message)
        self.start = self.moving = None
        self._outbox.note(now, "attention", f"run-{outcome}", message)
        self._ask(Discard(), Phase.DISCARDING, now)

    def _end(self, outcome: str, message: str, now: int) -> None:
        self.report.settle(self.links)
        self.report.turned(outcome, message)
        self.report.ended_us = now
        self.start = self.moving = None
        self._enter(Phase.ENDED, now)
