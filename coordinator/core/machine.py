"""The coordinator as one pure machine: events and commands in, actions out.

`handle` and `command` take what happened and what was asked, `poll` gives what must be done,
`next_deadline` says when to poll again. Time is the argument `now`, arm time in integer µs.
What the joints may do travels in drives, sent again and again to all joints with the same
numbers; a change is sent at once. The streams only carry what is not urgent.
"""

from collections.abc import Mapping
from typing import Final, assert_never

from coordinator.codes.level import Level
from coordinator.codes.outcome import Outcome
from coordinator.codes.refusal import RefusalCode
from coordinator.config.arm import Arm
from coordinator.core import events as ev
from coordinator.core import joint_words
from coordinator.core.condition import announced, condition, unstopped
from coordinator.core.configure import arm_ramp
from coordinator.core.currents import Currents
from coordinator.core.drives import next_drive
from coordinator.core.homing import HomingSequence, HomingState
from coordinator.core.jog_commands import JogCommands
from coordinator.core.jogging import Jog, jogged
from coordinator.core.link.link import JointLink, rests_by_us
from coordinator.core.link.words import listed, not_heard
from coordinator.core.membership import Membership
from coordinator.core.outbox import Outbox, ignore_reply
from coordinator.core.outputs import ToolOutputs, require_tool
from coordinator.core.proofs import take_back_proofs
from coordinator.core.readiness import (
    clear,
    make_ready,
    require_expiry,
    require_homed,
    require_link,
    require_playable,
    require_ready,
    require_stopped,
)
from coordinator.core.run import Phase, Run
from coordinator.core.run.edge_watch import require_edges
from coordinator.core.run.report import Report
from coordinator.core.stop_watch import StopWatch, tell_of_stop
from coordinator.core.surveying import Surveys
from coordinator.core.touch import TouchWatch
from coordinator.core.updating.updates import Updates, require_limp
from coordinator.core.watch import Watch
from coordinator.health.home_state import HomeState
from protocol import messages
from protocol.constants import (
    ACTIVE_INTERVAL_US,
    IDLE_INTERVAL_US,
    RATE_MAX_PPM,
    RATE_MIN_PPM,
)
from protocol.drive import StopLevel
from protocol.light import ConditionWord
from protocol.states import JointState

MEASURED_EXCHANGES: Final = 200
"""Until so many exchanges are in, a link is asked at the active rate (design section 3)."""
RESTS: Final = (Phase.HELD, Phase.PAUSED, Phase.ENDED)
"""Of a run: phases in which it switches no output."""
LEAVES_OUTPUTS: Final = (ev.Switch, ev.Blink, ev.Override, ev.Survey, ev.CancelSurvey)
"""Commands that take no output back which a hand has just asked for."""
SEQUENCE_LAST: Final = 2**32 - 2
"""The session ends before its drives' 32-bit numbers do (design section 3)."""
KEPT: Final = 100
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
        self.links = [JointLink(joint, k, arm.idle_share) for k, joint in enumerate(arm.joints)]
        self.ramp = arm_ramp(arm)
        self.skew_limit_us = arm.skew_limit_ms * 1e3
        self.outbox = Outbox()
        self.watch = Watch(arm, self.outbox)
        self.touch = TouchWatch()
        self.stop_watch = StopWatch(self.links, self.outbox)
        self.jog = Jog(self.outbox)
        self.tool = ToolOutputs(self.links, self.outbox)
        self.currents = Currents(arm, self.links)
        self.updates = Updates(self.links, self.outbox)
        self.surveys = Surveys(self.outbox)
        self.members = Membership(arm, self.links, self.ramp, self.jog, self.outbox, session)
        self._hands = JogCommands(self.jog, self.outbox, self.named, self._require_at_most_jog)
        self.run: Run | None = None
        self.homing: HomingSequence | None = None
        self.homings: dict[int, HomingSequence] = {}
        self.reports: dict[int, Report] = {}
        self.stopped_why = ""
        """Why the arm was stopped last."""
        self.announced = ""
        """What will be played next without another command, while no run goes on; empty for
        nothing. A hold or stop withdraws it."""
        self._by_id = {link.joint.id: link for link in self.links}
        self._next_run = first_run
        self._next_homing = first_homing
        self._next_send_us = 0
        self._listens = any(joint.touch for joint in arm.joints)
        """Whether controls are: who turns one waits for the next drive, as a joint only answers."""
        self._word = ConditionWord.NOT_KNOWN
        """The arm's condition at the newest drives, which carry it to the joints' lights."""

    # ---- events -----------------------------------------------------------------------------

    def handle(self, event: ev.Event, now: int) -> None:
        """Take what the network did. What follows from it is done by the next `poll`."""
        match event:
            case ev.Replied():
                self._replied(event, now)
            case ev.DriveSent():
                self._by_id[event.joint_id].quality.sent(event.sequence, event.at_us)
                self.surveys.sent(event.joint_id, event.sequence, event.at_us)
            case ev.AskedByMulticast(number=number, joint_ids=joint_ids, at_us=at_us):
                self.surveys.asked(number, joint_ids, at_us)
            case ev.AnsweredMulticast(number=number, joint_id=joint_id, at_us=at_us):
                self.surveys.answered_multicast(number, joint_id, at_us)
            case ev.FrameSent():
                link = self._by_id[event.joint_id]
                link.requests.frame_sent(event.token, event.number, now)
            case ev.Reported():
                self._reported(self._by_id[event.joint_id], event.report, now)
            case ev.Found():
                self.members.found(event, now)
            case ev.Gone(instance=instance):
                self.members.gone(instance)
            case ev.Silent(instance=instance):
                self.members.strangers.gone(instance)
            case ev.Knocked():
                self.members.knocked(event, now)
            case ev.KnockFailed():
                self.members.knock_failed(event, now)
            case ev.LinkUp(joint_id=joint_id, welcome=welcome):
                self._link_up(self._by_id[joint_id], welcome, now)
            case ev.LinkDown(joint_id=joint_id, code=code, message=message):
                self._link_down(self._by_id[joint_id], code, message, now)
            case ev.AddressGone(address=address):
                message = f"this laptop lost its address {address}: no joint can be heard"
                self.outbox.note(now, Level.DANGER, "address-gone", message)
            case ev.AddressBack(address=address):
                message = f"this laptop has its address {address} again"
                self.outbox.note(now, Level.INFO, "address-back", message)
            case ev.HostSlept(slept_us=slept_us, session=session):
                self.watch.slept(slept_us)
                message = f"the laptop slept for {slept_us / 1e6:.1f} s"
                self._new_session(session, message, now)

    def _replied(self, event: ev.Replied, now: int) -> None:
        link = self._by_id[event.joint_id]
        if not link.in_session or link.welcome is None or event.status.boot != link.welcome.boot:
            return  # on its way since before the joint's boot or the end of its session
        link.quality.answered(event.sequence, event.exchange.t4_us)
        self.surveys.answered(link.id, event.sequence, event.exchange)
        wrong_since = link.sync.observe(event.exchange, now)
        if wrong_since is not None:
            take_back_proofs(self.reports, link, wrong_since, self.outbox, now)
        link.connection.seen(event.status.boot, event.exchange.t1_us, now)
        if link.replied(event.status, event.exchange.t4_us):
            self.watch.observe(link, now)
            if self.run is not None:
                self.run.heard(link)
            plays = self.run is not None and self.run.phase not in RESTS
            self.tool.observe(link, now, plays=plays)
            if touched := self.touch.observe(link, event.exchange.t1_us, now):
                self.outbox.actions.append(touched)

    def _reported(self, link: JointLink, report: object, now: int) -> None:
        match report:
            case messages.Ack(ref=ref):
                link.requests.answered(ref, None, now)
            case messages.Reject(ref=ref):
                link.requests.answered(ref, report, now)
            case messages.Started() if self.run:
                self.run.started(link, report, now)
            case messages.Finished() if self.run:
                self.run.finished(link, report)
            case messages.Homed() if self.homing:
                self.homing.homed(link, report, now)
            case messages.HomingFailed() if self.homing:
                self.homing.failed(link, report)
            case messages.Held():
                if self.run:
                    self.run.joint_held(link, report)
                arm_holds = self.run.why_it_holds(link) if self.run else ""
                message = joint_words.held(link.name, report, arm_holds)
                self.outbox.note(now, Level.INFO, "joint-held", message, link.name, detail=True)
            case messages.Stopped():
                message = joint_words.stopped(link.name, report)
                self.outbox.note(now, Level.INFO, "joint-stopped", message, link.name, detail=True)
            case messages.Faulted():
                self._faulted(link, report, now)
            case messages.Updating():
                self.updates.told(link, report, now)

    def _faulted(self, link: JointLink, report: messages.Faulted, now: int) -> None:
        """A joint tells of a fault, before its status or after."""
        is_told = report.fault in link.faults_told
        link.faults_told |= {report.fault}
        run = self.run
        ends = f"; the arm stops, and run {run.number} is over" if run and run.may_stray else ""
        message = f"{link.name}: {report.message}{ends}"
        code = f"fault-{report.fault}"
        self.outbox.note(now, Level.DANGER, code, message, link.name, detail=is_told)
        self.jog.faulted(link, report.fault, now)
        if self.homing is not None:
            self.homing.faulted(link, report.fault)

    def _link_up(self, link: JointLink, welcome: messages.Welcome, now: int) -> None:
        begins_anew = link.welcome is not None and welcome.keyed is None
        expected = self.updates.restarted(link, welcome)
        rebooted = self.members.link_up(link, welcome, now, self._ends_with(link), expected)
        if begins_anew:
            self.tool.forget()
        if begins_anew and self.homing:
            why = "restarted" if rebooted else "was in another session meanwhile"
            self.homing.forgotten(link, why, now, detail=rebooted)
        if rebooted:
            self.surveys.restarted(link.id)
        if self.run:
            if rebooted:
                self.run.rebooted(link, now)
            else:
                self.run.relinked(link, now)
        self.outbox.at_once = True
        self.members.configure(link, now)

    def _ends_with(self, link: JointLink) -> str:
        """What is over if a joint has restarted, a clause."""
        if self.run is not None and self.run.ends_with_restart:
            return f"run {self.run.number} is over"
        if self.homing is not None and self.homing.current is link:
            return f"homing {self.homing.number} is over"
        return ""

    def _link_down(self, link: JointLink, code: str, message: str, now: int) -> None:
        self.members.link_down(link, code, message, now)
        if code == "keys-unknown" and not self._commanded:
            # It holds keys that nobody knows: only another session makes it take others.
            why = f"{link.name} has datagram keys that are not known here"
            self._new_session(_after(self.session), why, now)

    def _new_session(self, session: int, why: str, now: int) -> None:
        message = f"{why}: every joint comes to rest, and nothing goes on by itself"
        self.outbox.note(now, Level.ATTENTION, "session-ended", message)
        if self.run:
            self.run.stop(Outcome.LOST, message, now)
        if self.homing:
            self.homing.fail(message, now, detail=True)
        self.surveys.break_off(why, now)
        self.jog.end(now)
        self.tool.forget()
        # Whatever was done at a joint's control may be as long ago as the laptop slept.
        self.touch.forget()
        self.currents.begin_session()
        self.outbox.drop_touches()
        self.members.begin_session(session, now)

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
            case ev.HoldHome(joint=joint):
                number = self._hold_home(joint, now)
            case ev.Hold(because=because):
                self._hold(because, now)
            case ev.Resume():
                self._current_run(now).resume(now)
            case ev.Stop(level=level):
                # The line is the command's, with who it was.
                self._stop(level, Outcome.STOPPED, ev.Because.OPERATOR, now)
                self.outbox.note(now, Level.ATTENTION, "stop", ev.Because.OPERATOR, detail=True)
            case ev.Override(rate_ppm=rate_ppm):
                if not RATE_MIN_PPM <= rate_ppm <= RATE_MAX_PPM:
                    raise ev.Refused(
                        RefusalCode.OVERRIDE_RANGE,
                        f"feed override {rate_ppm / 1e4:g} %, 5 to 100 % are possible",
                    )
                self._current_run(now).override(rate_ppm)
            case ev.Jog(velocities_deg_s=velocities_deg_s):
                self._hands.turn(velocities_deg_s, now)
                if self.homing is not None and not any(velocities_deg_s.values()):
                    self.homing.let_go(now)
            case ev.Step():
                self._hands.step(command, now)
            case ev.Go():
                self._hands.go(command, now)
            case ev.Blink(joint=joint):
                link = self.named(joint)
                require_link(link, now)
                self.outbox.request(link, messages.Blink(), ignore_reply, now)
            case ev.Switch():
                self._require_no_motion(now)
                self.tool.ask(command, now)
            case ev.Update(joint=joint):
                self.updates.begin(self.require_updatable(joint, now), command, now)
            case ev.CancelUpdate(joint=joint):
                self.updates.cancel(self.named(joint), now)
            case ev.Survey():
                self._survey(command, now)
            case ev.CancelSurvey():
                self.surveys.cancel(now)
            case _:
                assert_never(command)
        if not isinstance(command, LEAVES_OUTPUTS):
            self.tool.forget()
        self.outbox.at_once = True
        return number

    def named(self, name: str) -> JointLink:
        """The link of the joint of a name. Raises Refused if this arm has none."""
        for link in self.links:
            if link.name == name:
                return link
        known = " ".join(link.name for link in self.links)
        raise ev.Refused(
            RefusalCode.JOINT_UNKNOWN, f"there is no joint {name!r}; this arm has {known}"
        )

    def _current_run(self, now: int) -> Run:
        run = self.run
        if run is None or run.phase is Phase.ENDED:
            ended = f"; run {run.number} ended: {run.report.why}" if run else ""
            first = ""
            if names := unstopped(self.links, now):
                has = "has" if len(names) == 1 else "have"
                first = f"{listed(names)} {has} not confirmed the stop and may still move; "
            raise ev.Refused(RefusalCode.NO_RUN, f"{first}no program is being played{ended}")
        return run

    def require_no_run(self, wanted: str) -> None:
        """Raise Refused while a program is played."""
        if self.run is not None and self.run.phase is not Phase.ENDED:
            raise ev.Refused(
                RefusalCode.RUNNING,
                f"run {self.run.number} is {self.run.phase}: {wanted} must wait for its end; stop "
                "ends it",
            )

    def _require_no_motion(self, now: int) -> None:
        """Raise Refused unless nothing moves, or will by itself: a run may be held or paused."""
        run = self.run
        if run is not None and run.phase not in RESTS:
            raise ev.Refused(
                RefusalCode.RUNNING,
                f"run {run.number} is {run.phase}, and switches outputs itself; hold first",
            )
        if self.homing is not None and self.homing.state is HomingState.RUNNING:
            raise ev.Refused(RefusalCode.HOMING, "a homing is under way: it must end first")
        require_stopped(self.links, self.ramp, now)
        if self.jog.goes_on:
            raise ev.Refused(RefusalCode.JOGGING, jogged(self.jog.links))
        for link in self.links:
            if self._may_move(link, now):
                told = f"{link.name} has not confirmed to be at rest"
                raise ev.Refused(RefusalCode.NOT_AT_REST, told)

    def _require_idle(self, wanted: str, now: int) -> None:
        self._require_at_most_jog(wanted, now)
        if self.jog.goes_on:
            raise ev.Refused(RefusalCode.JOGGING, jogged(self.jog.links))

    def _require_at_most_jog(self, wanted: str, now: int) -> None:
        self.updates.require_none(wanted)
        self.require_no_run(wanted)
        if self.homing is not None and self.homing.state is HomingState.RUNNING:
            raise ev.Refused(
                RefusalCode.HOMING, f"a homing is under way: {wanted} must wait for it"
            )
        require_stopped(self.links, self.ramp, now)

    def require_playable(self, now: int) -> None:
        """Raise Refused where no program could be played now."""
        self._require_idle("play", now)
        for link in self.links:
            require_playable(link, now)

    def _play(self, play: ev.Play, now: int) -> int:
        self.require_playable(now)
        if len(play.parts) == 0:
            raise ev.Refused(RefusalCode.PROGRAM_EMPTY, f"{play.name} moves nothing")
        needs = play.needs
        if needs is None:
            numbers = range(len(play.parts))
            needs = tuple(need for k in numbers for need in play.parts[k].needs())
        require_tool(needs, self.links)
        if play.loops.check_edges:
            require_edges([play.parts[k] for k in range(len(play.parts))], self.links)
        number = self._next_run
        self._next_run += 1
        make_ready(self.links, self.outbox, now, loads=True)
        self.run = Run(number, play, self.links, self.ramp, self.skew_limit_us, self.outbox, now)
        self.reports[number] = self.run.report
        self.reports.pop(number - KEPT, None)
        return number

    # ---- home, as homings found it ------------------------------------------------------------

    def take_homes(self, homes: Mapping[str, HomeState]) -> None:
        """What homings of coordinators before this one found, by joint."""
        for link in self.links:
            link.home = homes.get(link.name)

    def require_wandered(self, joint: str) -> int:
        """The homing as of which somebody may accept a joint's home. Raises Refused."""
        link = self.named(joint)
        if link.home is None or not link.wandered:
            raise ev.Refused(
                RefusalCode.NOTHING_TO_ACCEPT,
                f"home of {joint} has not wandered: nothing to accept",
            )
        return link.home.homing

    def accept_home(self, joint: str, homing: int, who: str, now: int) -> None:
        """Somebody accepts a joint's home as of that homing; of an older one it means nothing."""
        link = self.named(joint)
        if link.home is None or link.home.homing != homing or not link.wandered:
            return
        message = f"{who} accepted the home of {joint} as it is: {link.wandered}"
        link.home = link.home.accepted()
        self.outbox.note(now, Level.ATTENTION, "home-accepted", message, joint)

    def require_updatable(self, joint: str, now: int) -> JointLink:
        """The link of a joint that could get new firmware now. Raises Refused."""
        link = self.named(joint)
        self._require_still("an update", now)
        require_limp(link, self.links, now)
        return link

    def _require_still(self, wanted: str, now: int) -> None:
        """Raise Refused unless the arm rests, and nothing that moves it is under way or awaited."""
        self._require_idle(wanted, now)
        if self.announced:
            raise ev.Refused(
                RefusalCode.RUNNING,
                f"{self.announced} is about to be played: {wanted} must wait for it; stop ends it",
            )
        self._require_no_motion(now)

    def _survey(self, survey: ev.Survey, now: int) -> None:
        wanted = {self.named(name).name for name in survey.joints}
        self.surveys.require_none()
        self._require_still("a survey", now)
        for link in self.links:
            if link.name in wanted:
                require_link(link, now)
        links = [link for link in self.links if not wanted or link.name in wanted]
        self.surveys.begin(links, survey.for_us, now)

    def _home(self, names: tuple[str, ...], now: int) -> int:
        if self.arm.homing_while_held:
            raise ev.Refused(
                RefusalCode.HELD_ONLY,
                "the arm file has homing_while_held: a joint homes only while a control is held, "
                "on the page or by `unisono home` at a terminal",
            )
        wanted = {self.named(name).name for name in names} or {link.name for link in self.links}
        links = [self.named(name) for name in self.arm.homing_order if name in wanted]
        return self._begin_homing(links, now)

    def _hold_home(self, joint: str, now: int) -> int:
        link = self.named(joint)
        if self.homing is not None and self.homing.renewed(link, now):
            return self.homing.number
        return self._begin_homing([link], now, held=True)

    def _begin_homing(self, links: list[JointLink], now: int, *, held: bool = False) -> int:
        self._require_idle("homing", now)
        for link in links:
            require_ready(link, now)
            require_expiry(link, now)
        number = self._next_homing
        self._next_homing += 1
        make_ready(links, self.outbox, now)
        self.homing = HomingSequence(number, links, self.outbox, now, held=held)
        self.homings[number] = self.homing
        self.homings.pop(number - KEPT, None)
        return number

    def _hold(self, because: ev.Because, now: int) -> None:
        """Hold a run on its path; a homing or a jog has none, and ends."""
        if self.homing is not None and self.homing.state is HomingState.RUNNING:
            self.homing.fail(f"held: {because}", now, detail=True)
        elif self.jog.goes_on:
            self.jog.end(now)
        elif announced(self):
            self.announced = ""
        else:
            self._current_run(now).hold(because, now)

    def _stop(self, level: StopLevel, outcome: Outcome, message: str, now: int) -> None:
        if level is StopLevel.NONE:
            raise ev.Refused(RefusalCode.STOP_LEVEL, "a stop has level 1, 2 or 3")
        self.stopped_why = message
        self.announced = ""
        for link in self.links:
            link.stop(level, now)
        if self.run is not None:
            self.run.stop(outcome, message, now, level)
        if self.homing is not None:
            self.homing.fail(message, now, detail=True)
        self.jog.end(now)
        self.tool.forget()
        self.outbox.at_once = True

    # ---- the machine --------------------------------------------------------------------------

    def poll(self, now: int) -> list[ev.Action]:
        """All that must be done at `now`. Call after every event and at every deadline."""
        if any(link.orders.sequence >= SEQUENCE_LAST for link in self.links):
            self._new_session(_after(self.session), "its drives' numbers are used up", now)
        self._step(now)
        self.members.step(now)
        if now >= self._next_send_us or self.outbox.at_once:
            self.outbox.at_once = False
            often = self._listens or self._busy()
            interval = ACTIVE_INTERVAL_US if often else IDLE_INTERVAL_US
            self._next_send_us = now + interval
            self._word = condition(self, now).word
            self.currents.turn(now, wanted=self._moves_or_will(now))
            self.stop_watch.step(now)
            self.watch.step(now)
            if self.run is not None:
                self.run.note_line(now)
            for link in self.links:
                is_told = self.run is not None and self.run.tells_of_loss(link)
                if not self.updates.away(link):
                    self.watch.look_for(link, now, is_told=is_told)
                if link.in_session:
                    drive = next_drive(link, self, self._word, now)
                    self.outbox.actions.append(ev.SendDrive(link.id, drive))
                    clear(link, self.outbox, now)
        return self.outbox.take()

    def next_deadline(self) -> int:
        """When to poll again at the latest."""
        due_us = self._next_send_us
        connect_us = self.members.next_deadline()
        if connect_us is not None:
            due_us = min(due_us, connect_us)
        run_us = self.run.next_deadline() if self.run is not None else None
        return due_us if run_us is None else min(due_us, run_us)

    @property
    def session(self) -> int:
        """The session in force, 64 bits."""
        return self.members.session

    @property
    def _commanded(self) -> bool:
        """Whether something that moves the arm is under way."""
        return (self.run is not None and self.run.active) or self._homes_or_jogs

    @property
    def _homes_or_jogs(self) -> bool:
        """Whether something that moves the arm off its path is under way."""
        homes = self.homing is not None and self.homing.state is HomingState.RUNNING
        return homes or self.jog.goes_on

    def _moves_or_will(self, now: int) -> bool:
        """Whether some joint moves, or may without another command."""
        plays = self.run is not None and self.run.phase not in RESTS
        will = plays or self._homes_or_jogs
        return will or any(self._may_move(link, now) for link in self.links)

    def _may_move(self, link: JointLink, now: int) -> bool:
        """Whether it does not surely rest; a silent one does after a while, by its own rules."""
        if link.heard(now):
            return not link.rests(now)
        by_us = rests_by_us([link], self.ramp)
        return by_us is not None and now < by_us

    def _busy(self) -> bool:
        return (
            self._commanded
            or self.surveys.measures
            or any(
                link.up
                and (
                    link.orders.stop_wanted
                    or link.orders.clear_wanted
                    or link.quality.count < MEASURED_EXCHANGES
                    or (link.status is not None and not link.at_rest)
                )
                for link in self.links
            )
        )

    def _disturbance(self, now: int) -> str:
        """What keeps a survey from measuring links at rest, a clause; empty where nothing does."""
        if not self.surveys.measures:
            return ""
        if self.updates.under_way:
            return "a joint's firmware is being updated"
        moves = self.announced or self._moves_or_will(now)
        return "the arm was to move" if moves else ""

    def _step(self, now: int) -> None:
        self.jog.step(now)
        self.tool.step(now)
        self.updates.step(now)
        self.surveys.step(now, disturbed=self._disturbance(now))
        if self.homing is not None:
            self.homing.step(now)
        run = self.run
        if run is not None:
            ended = run.phase is Phase.ENDED
            why = run.step(now)
            if why is not None and not ended:
                self._stop(StopLevel.STOP, Outcome.FAULTED, why, now)
                tell_of_stop(self.links, run, why, self.outbox, now)
            if run.report.stop_unconfirmed:
                run.report.stopping(self.links, now)
            if run.report.grew:
                run.report.grew = False
                self.outbox.actions.append(ev.ReportGrew(run.number))

    @property
    def moved_by_hand(self) -> bool:
        """Whether something moves only as long as somebody holds it, or asked for a step."""
        homing = self.homing
        homes = homing is not None and homing.held and homing.state is HomingState.RUNNING
        return homes or self.jog.goes_on

    @property
    def jogging(self) -> list[JointLink]:
        """The joints that are jogged, base to tool."""
        return self.jog.links

    # ---- what shells ask ------------------------------------------------------------------------

    def standing_deg(self, now: int) -> dict[str, float]:
        """Where every joint surely stands, by name, in degrees. Raises Refused."""
        for link in self.links:
            require_ready(link, now)
            if not link.rests(now):
                raise ev.Refused(
                    RefusalCode.NOT_AT_REST, f"{link.name} has not confirmed to be at rest"
                )
        positions = zip(self.links, self.start_counts(), strict=True)
        return {link.name: link.joint.to_degrees(at) for link, at in positions}

    def start_counts(self) -> list[int]:
        """Where every joint stands, in counts, for planning. Raises Refused when unknown."""
        counts = []
        for link in self.links:
            if link.status is None:
                raise ev.Refused(RefusalCode.JOINT_OFFLINE, not_heard(link))
            require_homed(link)
            if link.status.state is JointState.UNHOMED:
                raise ev.Refused(RefusalCode.NOT_HOMED, f"{link.name} is not homed; home it first")
            counts.append(link.status.position)
        return counts


def _after(session: int) -> int:
    """Another session than this one, not 0."""
    return session % (2**64 - 1) + 1
