"""One joint in the world: the software joint, where it is, and its wake-ups in the schedule."""

import math
from collections.abc import Callable

from coordinator.core import events as ev
from coordinator.rehearsal.observer import Observer
from coordinator.rehearsal.schedule import Schedule
from protocol.discovery import Announcement
from simulator.unit import JointUnit


class Node:
    """A joint. Whoever does something with its unit calls `touched` afterwards.

    `poll` is called when its unit has something to do by itself, `restarted` after it restarted
    by itself.
    """

    def __init__(
        self,
        unit: JointUnit,
        schedule: Schedule,
        observer: Observer | None,
        poll: Callable[["Node"], None],
        restarted: Callable[["Node"], None],
    ) -> None:
        self.unit = unit
        self.schedule = schedule
        self.id = unit.settings.id
        self.name = unit.settings.name
        self.alive = True
        self.host = "world"
        """Its address on the network."""
        self.twins: dict[str, int] = {}
        """Boots of others that prove its id and key, by their addresses; they do nothing else."""
        self.liars: set[str] = set()
        """Addresses at which somebody without the key answers."""
        self.slow_us = 0
        """How long it takes before it answers a datagram."""
        self._observer = observer
        self._poll = poll
        self._restarted = restarted
        self._known_boot = self.boot
        self._wake_joint_us = math.inf
        """Joint time of the earliest wake-up that stands in the schedule."""

    @property
    def boot(self) -> int:
        """The number of the boot that it is in."""
        return self.unit.joint.identity.boot

    def touched(self) -> None:
        """See to it that the world comes back in time, and let the observer look."""
        if self.boot != self._known_boot:
            self.rewind()
            self._restarted(self)
        due = self.unit.due_us
        if due < self._wake_joint_us:
            self._wake_at(due)
        if self._observer is not None:
            self._observer.touched(self.id)

    def is_at(self, address: ev.StreamAddress) -> bool:
        """Whether it is there, with its power on."""
        return self.alive and address.host == self.host

    def announcement(self) -> ev.Found:
        """What it announces of itself."""
        firmware = self.unit.joint.identity.firmware
        return ev.Found(self.name, self.host, 1, Announcement(self.id, firmware, 1))

    def rewind(self) -> None:
        """Its clock is another one now: find the next wake-up anew."""
        self._known_boot = self.boot
        self._wake_at(self.unit.due_us)

    def _wake_at(self, due: float) -> None:
        self._wake_joint_us = due
        # One µs later than its instant, so that what was due has surely come.
        at_us = max(self.schedule.now, int(self.unit.next_deadline()) + 1)
        self.schedule.at(at_us, self._wake, due)

    def _wake(self, due: float) -> None:
        # Deadlines mostly move away before they come: then only look when it is worth it.
        if due != self._wake_joint_us or not self.alive:
            return
        self._wake_joint_us = math.inf
        if self.unit.due_us > due:
            self._wake_at(self.unit.due_us)
            return
        self._poll(self)
