"""One laptop with its coordinator, and how it meets the world: its clock, its commands."""

from collections.abc import Callable
from random import Random

from coordinator.config.arm import Arm
from coordinator.core import events as ev
from coordinator.core.machine import Coordinator
from coordinator.rehearsal.faulty_link import FaultyLink
from coordinator.rehearsal.host import SLEEP_LIMIT_US, HostClock
from coordinator.rehearsal.observer import Observer
from coordinator.rehearsal.schedule import Schedule

Sent = ev.DriveSent | ev.FrameSent | ev.AskedByMulticast | None
CarryOut = Callable[["Laptop", ev.Action], Sent]
"""Carries out what a core asks for, and gives what it must know of that."""


class Laptop:
    """A laptop. `faulty_links` are its links to the joints, by their ids; `identity` is lasting.

    `number` is its place among the laptops. Sessions after a sleep are drawn from `random`.
    """

    def __init__(
        self,
        number: int,
        arm: Arm,
        identity: bytes,
        host: HostClock,
        faulty_links: dict[str, FaultyLink],
        *,
        session: int,
        schedule: Schedule,
        random: Random,
        observer: Observer | None,
        carry_out: CarryOut,
    ) -> None:
        self.number = number
        self.identity = identity
        self.host = host
        self.faulty_links = faulty_links
        self.alive = True
        self.asleep_until_us: int | None = None
        self.notes: list[ev.Note] = []
        self.on_touch: Callable[[ev.Touched], None] = _nobody
        """Called with what people do at the joints' own controls, as a service's is."""
        self.core = Coordinator(arm, identity, session)
        self._arm = arm
        self._schedule = schedule
        self._random = random
        self._observer = observer
        self._carry_out = carry_out
        self._wake_us: int | None = None
        """True time of the earliest wake-up that stands in the schedule."""
        self._slept_seen_us = host.slept_us

    # ---- time ---------------------------------------------------------------------------------

    @property
    def now(self) -> int:
        """Arm time."""
        return self.arm(self._schedule.now)

    def arm(self, true_us: int) -> int:
        """Arm time, by the clock that this laptop goes by."""
        return self.host.arm(true_us)

    def true(self, arm_us: int) -> int:
        """True time at which that clock shows an arm time."""
        return self.host.true(arm_us)

    @property
    def awake(self) -> bool:
        """Whether anything that comes is taken in."""
        return self.alive and self.asleep_until_us is None

    # ---- what happens to it -------------------------------------------------------------------

    def command(self, command: ev.Command) -> int | None:
        """The operator asks for something now. Raises Refused as the core does."""
        number = self.core.command(command, self.now)
        if self._observer is not None:
            self._observer.commanded(self.number, command)
        self.act()
        return number

    def handle(self, *events: ev.Event) -> None:
        """The network did something; a laptop that sleeps or is off takes no notice."""
        if not self.awake:
            return
        now = self.now
        for event in events:
            self.core.handle(event, now)
            if isinstance(event, ev.Replied) and self._observer is not None:
                self._observer.heard(self.number, event.joint_id)
        self.act()

    def crash(self) -> None:
        """The coordinator is gone, with all that it knew: every stream of it ends."""
        self.alive = False
        self._hang_up()
        if self._observer is not None:
            self._observer.crashed(self.number)

    def restart(self, session: int) -> None:
        """A new coordinator on this laptop, with a new session."""
        self.alive = True
        self._hang_up()
        first_run = max(self.core.reports, default=0) + 1
        self.core = Coordinator(self._arm, self.identity, session, first_run=first_run)

    def sleep(self, duration_us: int) -> None:
        """The lid is closed for a while."""
        if not self.awake:
            return
        until_us = self.asleep_until_us = self._schedule.now + duration_us
        self._schedule.at(until_us, self._woken, duration_us, until_us)

    def _woken(self, slept_us: int, until_us: int) -> None:
        if self.asleep_until_us != until_us:
            return
        self.asleep_until_us = None
        self.host.sleep(slept_us)
        if self._observer is not None:
            self._observer.slept(self.number, slept_us)
        if self.alive:
            self.act()

    def _hang_up(self) -> None:
        for joint in self._arm.joints:
            self._carry_out(self, ev.Disconnect(joint.id))

    # ---- the loop of the shell ----------------------------------------------------------------

    def act(self) -> None:
        """Carry out what the core asks for, and come back at its next deadline."""
        self._end_session_if_slept()
        touches: list[ev.Touched] = []
        for action in self.core.poll(self.now):
            if isinstance(action, ev.Note):
                self.notes.append(action)
                continue
            if isinstance(action, ev.Touched):
                touches.append(action)
                continue
            if isinstance(action, ev.SendDrive) and self._observer is not None:
                self._observer.sent(self.number, action.joint_id, action.drive)
            sent = self._carry_out(self, action)
            if sent is not None:
                self.core.handle(sent, self.now)
        self._come_back()
        for touched in touches:
            # What it asks for goes out at once, and must not overtake the drives above.
            self.on_touch(touched)

    def _end_session_if_slept(self) -> None:
        slept_us = self.host.slept_us - self._slept_seen_us
        self._slept_seen_us = self.host.slept_us
        if slept_us > SLEEP_LIMIT_US:
            session = self._random.getrandbits(64) | 1
            self.core.handle(ev.HostSlept(slept_us, session), self.now)

    def _come_back(self) -> None:
        due_us = max(self._schedule.now, self.true(self.core.next_deadline()))
        if self._wake_us is None or due_us < self._wake_us:
            self._wake_us = due_us
            self._schedule.at(due_us, self._wake, due_us)

    def _wake(self, due_us: int) -> None:
        if due_us != self._wake_us:
            return
        self._wake_us = None
        if not self.awake:
            return
        if self.true(self.core.next_deadline()) > self._schedule.now:
            self._come_back()
        else:
            self.act()


def _nobody(touched: ev.Touched) -> None:
    """Nothing comes of it."""
