"""The coordinator as one pure machine: events and commands in, actions out.

`handle` and `command` take what happened and what was asked, `poll` gives what must be done,
`next_deadline` says when to poll again. Time is the argument `now`, arm time in integer µs.
What the joints may do travels in drives, sent again and again to all joints with the same
numbers; a change is sent at once. The streams only carry what is not urgent.
"""

from coordinator.arm import Arm
from coordinator.core import events as ev
from coordinator.core import joint_words
from coordinator.core.configure import arm_ramp
from coordinator.core.homing import HomingSequence, HomingState
from coordinator.core.jogging import Jog
from coordinator.core.link import JointLink
from coordinator.core.membership import Membership
from coordinator.core.outbox import Outbox, no_matter
from coordinator.core.readiness import (
    clear,
    make_ready,
    require_jog,
    require_link,
    require_playable,
    require_ready,
    require_stopped,
)
from coordinator.core.report import Report
from coordinator.core.run import Phase, Run
from coordinator.core.watch import Watch
from protocol import messages
from protocol.constants import (
    ACTIVE_INTERVAL_US,
    IDLE_INTERVAL_US,
    RATE_MAX_PPM,
    RATE_MIN_PPM,
)
from protocol.drive import Drive, Mode, StopLevel
from protocol.states import JointState

MEASURED_EXCHANGES = 200
"""Until so many exchanges are in, a link is asked at the active rate (design section 3)."""
SEQUENCE_LAST = 2**32 - 2
"""The session ends before its drives' 32-bit numbers do (design section 3)."""
KEPT = 100
"""Ended runs and homings that are remembered here; the shell keeps reports for good."""


class Coordinator:
    """All joints of one arm, and what is being done with them."""

    def __init__(
        self,
        arm: Arm,
        coordinator_id: bytes,
        session: int,
        first_run: int = 1,
        first_homing: int = 1,
    ) -> None:
        self.arm = arm
        self.coordinator_id = coordinator_id
        self.session = session
        self.links = [JointLink(joint, k) for k, joint in enumerate(arm.joints)]
        self.ramp = arm_ramp(arm)
        self.outbox = Outbox()
        self.watch = Watch(self.outbox)
        self.jog = Jog(self.outbox)
        self.members = Membership(arm, self.links, self.ramp, self.jog, self.outbox)
        self.run: Run | None = None
        self.homing: HomingSequence | None = None
        self.homings: dict[int, HomingSequence] = {}
        self.reports: dict[int, Report] = {}
        self._by_id = {link.joint.id: link for link in self.links}
        self._next_run = first_run
        self._next_homing = first_homing
        self._next_send_us = 0

    # ---- events -----------------------------------------------------------------------------

    def handle(self, event: ev.Event, now: int) -> None:
        """Take what the network did. What follows from it is done by the next `poll`."""
        match event:
            case ev.Replied():
                self._replied(event, now)
            case ev.DriveSent(joint_id=joint_id, sequence=sequence, at_us=at_us):
                self._by_id[joint_id].quality.sent(sequence, at_us)
            case ev.FrameSent(joint_id=joint_id, token=token, number=number):
                self._by_id[joint_id].frame_sent(token, number, now)
            case ev.Reported(joint_id=joint_id, report=report):
                self._reported(self._by_id[joint_id], report, now)
            case ev.Found():
                self.members.found(event, now)
            case ev.Gone(instance=instance):
                self.members.gone(instance, now)
            case ev.Silent(instance=instance):
                self.members.silent(instance, now)
            case ev.LinkUp(joint_id=joint_id, welcome=welcome):
                self._link_up(self._by_id[joint_id], welcome, now)
            case ev.LinkDown(joint_id=joint_id, code=code, message=message):
                self.members.link_down(self._by_id[joint_id], code, message, now)
            case ev.AddressGone(address=address):
                message = f"this laptop lost its address {address}: no joint can be heard"
                self.outbox.note(now, "danger", "address-gone", message)
            case ev.AddressBack(address=address):
                message = f"this laptop has its address {address} again"
                self.outbox.note(now, "info", "address-back", message)
            case ev.HostSlept(slept_us=slept_us, session=session):
                message = f"the laptop slept for {slept_us / 1e6:.1f} s"
                self._new_session(session, message, now)

    def _replied(self, event: ev.Replied, now: int) -> None:
        link = self._by_id[event.joint_id]
        if not link.in_session or link.welcome is None or event.status.boot != link.welcome.boot:
            return  # on its way since before the joint's boot or the end of its session
        link.quality.answered(event.sequence, event.exchange.t4_us)
        wrong_since = link.observe(event.exchange, now)
        if wrong_since is not None:
            self._take_back_proofs(link, wrong_since, now)
        if link.replied(event.status, event.exchange.t4_us):
            self.watch.observe(link, now)

    def _take_back_proofs(self, link: JointLink, since: int, now: int) -> None:
        """No report may go on to state what rests on a clock that was wrong."""
        starts = 0
        for report in self.reports.values():
            if found := report.take_back(link.name, since):
                starts += found
                self.outbox.actions.append(ev.ReportGrew(report.run))
        if starts:
            message = (
                f"{link.name}: its clock was found wrong; {starts} start{'s' * (starts > 1)} that "
                f"counted as proved by it {'do' if starts > 1 else 'does'} not any more"
            )
            self.outbox.note(now, "attention", "proof-taken-back", message, link.name)

    def _reported(self, link: JointLink, report: object, now: int) -> None:
        match report:
            case messages.Ack(ref=ref):
                link.answered(ref, None, now)
            case messages.Reject(ref=ref):
                link.answered(ref, report, now)
            case messages.Started() if self.run:
                self.run.started(link, report, now)
            case messages.Finished() if self.run:
                self.run.finished(link, report)
            case messages.Homed() if self.homing:
                self.homing.homed(link, report, now)
            case messages.HomingFailed() if self.homing:
                self.homing.failed(link, report)
            case messages.Held():
                message = joint_words.held(link.name, report)
                self.outbox.note(now, "info", "joint-held", message, link.name)
            case messages.Stopped():
                message = joint_words.stopped(link.name, report)
                self.outbox.note(now, "info", "joint-stopped", message, link.name)
            case messages.Faulted(fault=fault, message=message):
                self.outbox.note(
                    now, "danger", f"fault-{fault}", f"{link.name}: {message}", link.name
                )

    def _link_up(self, link: JointLink, welcome: messages.Welcome, now: int) -> None:
        begins_anew = link.welcome is not None and welcome.keyed is None
        rebooted = self.members.link_up(link, welcome, now)
        if rebooted is None:
            return
        if begins_anew and self.homing:
            why = "restarted" if rebooted else "was in another session meanwhile"
            self.homing.forgotten(link, why, now)
        if self.run:
            if rebooted:
                self.run.rebooted(link, now)
            else:
                self.run.relinked(link, now)
        self.outbox.at_once = True
        self.members.configure(link, now)

    def _new_session(self, session: int, why: str, now: int) -> None:
        message = f"{why}: every joint comes to rest, and nothing goes on by itself"
        self.outbox.note(now, "attention", "session-ended", message)
        if self.run:
            self.run.stop("lost", message, now)
        if self.homing:
            self.homing.fail(message, now)
        self.jog.end(now)
        self.session = session
        self.members.begin_session(now)

    # ---- commands -----------------------------------------------------------------------------

    def command(self, command: ev.Command, now: int) -> int | None:
        """Carry out what a person asked, or raise Refused with nothing changed.

        Returns the number of a new run or homing, otherwise None.
        """
        number: int | None = None
        match command:
            case ev.Play():
                number = self._play(command, now)
            case ev.Home(joints=joints):
                number = self._home(joints, now)
            case ev.Hold():
                self._hold(now)
            case ev.Resume():
                self._current_run().resume(now)
            case ev.Stop(level=level):
                self._stop(level, "stopped", "stopped by the operator", now)
            case ev.Override(rate_ppm=rate_ppm):
                if not RATE_MIN_PPM <= rate_ppm <= RATE_MAX_PPM:
                    raise ev.Refused(
                        "override-range",
                        f"feed override {rate_ppm / 1e4:g} %, 5 to 100 % are possible",
                    )
                self._current_run().override(rate_ppm)
            case ev.Jog(joint=joint, velocity_deg_s=velocity):
                self._jog_joint(joint, velocity, now)
            case ev.Blink(joint=joint):
                link = self.named(joint)
                require_link(link)
                self.outbox.request(link, messages.Blink(), no_matter, now)
        self.outbox.at_once = True
        return number

    def named(self, name: str) -> JointLink:
        """The link of the joint of a name. Raises Refused if this arm has none."""
        for link in self.links:
            if link.name == name:
                return link
        known = " ".join(link.name for link in self.links)
        raise ev.Refused("joint-unknown", f"there is no joint {name!r}; this arm has {known}")

    def _current_run(self) -> Run:
        run = self.run
        if run is None or run.phase is Phase.ENDED:
            ended = f"; run {run.number} ended: {run.report.why}" if run else ""
            raise ev.Refused("no-run", f"no program is being played{ended}")
        return run

    def require_no_run(self, wanted: str) -> None:
        """Raise Refused while a program is played."""
        if self.run is not None and self.run.phase is not Phase.ENDED:
            raise ev.Refused(
                "running",
                f"run {self.run.number} is {self.run.phase}: {wanted} must wait for its end; stop "
                "ends it",
            )

    def _require_idle(self, wanted: str, now: int) -> None:
        self.require_no_run(wanted)
        if self.homing is not None and self.homing.state is HomingState.RUNNING:
            raise ev.Refused("homing", f"a homing is under way: {wanted} must wait for it")
        if self.jog.link is not None:
            raise ev.Refused("jogging", f"{self.jog.link.name} is being jogged")
        require_stopped(self.links, self.ramp, now)

    def require_playable(self, now: int) -> None:
        """Raise Refused where no program could be played now."""
        self._require_idle("play", now)
        for link in self.links:
            require_playable(link, now)

    def _play(self, play: ev.Play, now: int) -> int:
        self.require_playable(now)
        if not play.parts:
            raise ev.Refused("program-empty", f"{play.name} moves nothing")
        number = self._next_run
        self._next_run += 1
        make_ready(self.links, self.outbox, now)
        self.run = Run(number, play, self.links, self.ramp, self.outbox, now)
        self.reports[number] = self.run.report
        self.reports.pop(number - KEPT, None)
        return number

    def _home(self, names: tuple[str, ...], now: int) -> int:
        self._require_idle("homing", now)
        wanted = {self.named(name).name for name in names} or {link.name for link in self.links}
        links = [self.named(name) for name in self.arm.homing_order if name in wanted]
        for link in links:
            require_ready(link, now)
        number = self._next_homing
        self._next_homing += 1
        make_ready(links, self.outbox, now)
        self.homing = HomingSequence(number, links, self.outbox, now)
        self.homings[number] = self.homing
        self.homings.pop(number - KEPT, None)
        return number

    def _jog_joint(self, name: str, velocity_deg_s: float, now: int) -> None:
        link = self.named(name)
        require_jog(link, velocity_deg_s)
        if velocity_deg_s == 0.0:
            self.jog.let_go(link)
            return
        if self.jog.link is not link:
            self.jog.require_let_go(now)
            self._require_idle("jog", now)
            require_ready(link, now)
            if not link.clock.locked:
                raise ev.Refused("clock-unlocked", f"{name}: {link.clock.reason}")
            make_ready([link], self.outbox, now)
        self.jog.keep(link, velocity_deg_s, now)

    def _hold(self, now: int) -> None:
        """Hold a run on its path; a homing or a jog has none, and ends."""
        if self.homing is not None and self.homing.state is HomingState.RUNNING:
            self.homing.fail("held by the operator", now)
        elif self.jog.link is not None:
            self.jog.end(now)
        else:
            self._current_run().hold(now)

    def _stop(self, level: StopLevel, outcome: str, message: str, now: int) -> None:
        if level is StopLevel.NONE:
            raise ev.Refused("stop-level", "a stop has level 1, 2 or 3")
        for link in self.links:
            link.stop(level, now)
        if self.run is not None:
            self.run.stop(outcome, message, now, level)
        if self.homing is not None:
            self.homing.fail(message, now)
        self.jog.end(now)
        self.outbox.note(now, "attention", "stop", message)
        self.outbox.at_once = True

    # ---- the machine --------------------------------------------------------------------------

    def poll(self, now: int) -> list[ev.Action]:
        """All that must be done at `now`. Call after every event and at every deadline."""
        if any(link.sequence >= SEQUENCE_LAST for link in self.links):
            session = (self.session + 1) % 2**64
            self._new_session(session, "its drives' numbers are used up", now)
        self._step(now)
        self.members.connect(self.session, now)
        if now >= self._next_send_us or self.outbox.at_once:
            self.outbox.at_once = False
            interval = ACTIVE_INTERVAL_US if self._busy() else IDLE_INTERVAL_US
            self._next_send_us = now + interval
            for link in self.links:
                self.watch.look_for(link, now)
                if link.in_session:
                    self.outbox.actions.append(ev.SendDrive(link.joint.id, self._drive(link, now)))
                    clear(link, self.outbox, now)
        return self.outbox.take()

    def next_deadline(self) -> int:
        """When to poll again at the latest."""
        due = [self._next_send_us, self.members.next_deadline()]
        if self.run is not None:
            due.append(self.run.next_deadline())
        return min(at_us for at_us in due if at_us is not None)

    def _busy(self) -> bool:
        if self.run is not None and self.run.active:
            return True
        if self.homing is not None and self.homing.state is HomingState.RUNNING:
            return True
        if self.jog.link is not None:
            return True
        return any(
            link.up
            and (
                link.stop_wanted
                or link.clear_wanted
                or link.quality.count < MEASURED_EXCHANGES
                or (link.status is not None and not link.at_rest)
            )
            for link in self.links
        )

    def _step(self, now: int) -> None:
        self.jog.step(now)
        if self.homing is not None:
            self.homing.step(now)
        run = self.run
        if run is not None:
            ended = run.phase is Phase.ENDED
            run.step(now)
            if run.stop_all is not None and not ended:
                message, run.stop_all = run.stop_all, None
                self._stop(StopLevel.STOP, "faulted", message, now)
            if run.report.stop_unconfirmed:
                run.report.stopping(self.links)
            if run.report.grew:
                run.report.grew = False
                self.outbox.actions.append(ev.ReportGrew(run.number))

    def _drive(self, link: JointLink, now: int) -> Drive:
        link.sequence += 1
        mode, plan, lease_us, expiry_us = Mode.NONE, None, None, None
        jog_velocity = homing_number = 0
        if link.stop_wanted:
            pass
        elif self.run is not None and self.run.active:
            mode, plan, lease_us, expiry_us = self.run.drive_fields(now)
        elif self.homing is not None and (permitted := self.homing.drive_fields(link, now)):
            mode = Mode.HOME
            homing_number, expiry_us = permitted
        elif jogged := self.jog.drive_fields(link, now):
            mode = Mode.JOG
            jog_velocity, expiry_us = jogged
        return Drive(
            session=self.session,
            sequence=link.sequence,
            mode=mode,
            energise=link.energise and not link.stop_wanted,
            stop=link.stop_wanted,
            clock_map=link.clock_map(now),
            plan=plan,
            lease_us=lease_us,
            jog_velocity=jog_velocity,
            expiry_us=expiry_us,
            homing_number=homing_number,
        )

    @property
    def jogging(self) -> JointLink | None:
        """The joint that is being jogged."""
        return self.jog.link

    # ---- what shells ask ------------------------------------------------------------------------

    def start_counts(self) -> list[int]:
        """Where every joint stands, in counts, for planning. Raises Refused when unknown."""
        counts = []
        for link in self.links:
            if link.status is None:
                raise ev.Refused("joint-absent", f"{link.name} is {link.state}: {link.message}")
            if not link.status.homed or link.status.state is JointState.UNHOMED:
                raise ev.Refused("not-homed", f"{link.name} is not homed; home it first")
            counts.append(link.status.position)
        return counts
