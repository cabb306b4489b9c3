"""One laptop with its coordinator, and how it meets the world: its clock, its commands."""

from typing import TYPE_CHECKING

from coordinator.core import events as ev
from coordinator.core.machine import Coordinator
from coordinator.rehearsal.air import Air
from coordinator.rehearsal.carriers import Carrier
from coordinator.rehearsal.host import SLEEP_LIMIT_US, HostClock
from protocol.discovery import Announcement

if TYPE_CHECKING:
    from coordinator.rehearsal.world import World

ANNOUNCED_US = 1_000


class Station:
    """A laptop. `airs` are its links to the joints, by their ids; `identity` is lasting."""

    def __init__(
        self,
        world: "World",
        identity: bytes,
        host: HostClock,
        airs: dict[str, Air],
        session: int,
    ) -> None:
        self.world = world
        self.identity = identity
        self.host = host
        self.airs = airs
        self.alive = True
        self.asleep_until_us: int | None = None
        self.notes: list[ev.Note] = []
        self.core = Coordinator(world.arm, identity, session)
        self.carrier: Carrier = world.carrier_of(self)
        self._wake_us: int | None = None
        """True time of the earliest wake-up that stands in the queue."""
        self._slept_seen_us = host.slept_us
        self.world.at(self.world.now + ANNOUNCED_US, self._announced)

    # ---- time ---------------------------------------------------------------------------------

    @property
    def now(self) -> int:
        """Arm time."""
        return self.arm(self.world.now)

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
        if self.world.observer is not None:
            self.world.observer.commanded(self, command)
        self.act()
        return number

    def handle(self, event: ev.Event) -> None:
        """The network did something; a laptop that sleeps or is off takes no notice."""
        if self.awake:
            self.core.handle(event, self.now)
            self.act()

    def crash(self) -> None:
        """The coordinator is gone, with all that it knew."""
        self.alive = False
        self.carrier.lost()
        if self.world.observer is not None:
            self.world.observer.crashed(self)

    def restart(self, session: int) -> None:
        """A new coordinator on this laptop, with a new session; once it is awake."""
        if self.asleep_until_us is not None:
            self.world.at(self.asleep_until_us + 1, self.restart, session)
            return
        self.alive = True
        self.carrier.lost()
        self.core = Coordinator(
            self.world.arm, self.identity, session, first_run=max(self.core.reports, default=0) + 1
        )
        self._announced()

    def sleep(self, duration_us: int) -> None:
        """The lid is closed for a while."""
        if not self.awake:
            return
        until_us = self.asleep_until_us = self.world.now + duration_us
        self.world.at(until_us, self._woken, duration_us, until_us)

    def _woken(self, slept_us: int, until_us: int) -> None:
        if self.asleep_until_us != until_us:
            return
        self.asleep_until_us = None
        self.host.sleep(slept_us)
        if self.world.observer is not None:
            self.world.observer.slept(self, slept_us)
        if self.alive:
            self.act()

    def _announced(self) -> None:
        for node in self.world.nodes.values():
            if self.awake:
                announcement = Announcement(node.id, "world", 1)
                self.core.handle(ev.Found(node.name, "world", 1, announcement), self.now)
        if self.awake:
            self.act()

    # ---- the loop of the shell ----------------------------------------------------------------

    def act(self) -> None:
        """Carry out what the core asks for, and come back at its next deadline."""
        self._end_session_if_slept()
        for action in self.core.poll(self.now):
            match action:
                case ev.SendDrive():
                    if self.world.observer is not None:
                        self.world.observer.sent(self, action.joint_id, action.drive)
                    self.carrier.send_drive(action)
                case ev.Note():
                    self.notes.append(action)
                case ev.SendFrame():
                    self.carrier.send_frame(action)
                case ev.Connect():
                    self.carrier.connect(action)
                case ev.Disconnect(joint_id=joint_id):
                    self.carrier.disconnect(joint_id)
        self._come_back()

    def _end_session_if_slept(self) -> None:
        slept_us = self.host.slept_us - self._slept_seen_us
        self._slept_seen_us = self.host.slept_us
        if slept_us > SLEEP_LIMIT_US:
            session = self.world.random.getrandbits(64) | 1
            self.core.handle(ev.HostSlept(slept_us, session), self.now)

    def _come_back(self) -> None:
        due_us = max(self.world.now, self.true(self.core.next_deadline()))
        if self._wake_us is None or due_us < self._wake_us:
            self._wake_us = due_us
            self.world.at(due_us, self._wake, due_us)

    def _wake(self, due_us: int) -> None:
        if due_us != self._wake_us:
            return
        self._wake_us = None
        if not self.awake:
            return
        if self.true(self.core.next_deadline()) > self.world.now:
            self._come_back()
        else:
            self.act()
