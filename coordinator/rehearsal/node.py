"""One joint in the world: the software joint, and its wake-ups in the world's queue."""

import math
from itertools import count
from typing import TYPE_CHECKING

from simulator.unit import JointUnit

if TYPE_CHECKING:
    from coordinator.rehearsal.by_bytes import Wire
    from coordinator.rehearsal.world import World


class Node:
    """A joint. Whoever does something with its unit calls `touched` afterwards."""

    def __init__(self, world: "World", unit: JointUnit) -> None:
        self.world = world
        self.unit = unit
        self.id = unit.settings.id
        self.name = unit.settings.name
        self.alive = True
        self.slow_us = 0
        """How long it takes before it answers a datagram."""
        self.wires: dict[int, Wire] = {}
        """Streams by the joint's own numbers, where messages pass as bytes."""
        self.wire_numbers = count(1)
        self._wake_joint_us = math.inf
        """Joint time of the earliest wake-up that stands in the queue."""

    def touched(self) -> None:
        """See to it that the world comes back in time, and let the observer look."""
        due = self.unit.due_us
        if due < self._wake_joint_us:
            self._wake_at(due)
        if self.world.observer is not None:
            self.world.observer.touched(self)

    def rewind(self) -> None:
        """Its clock is another one now: find the next wake-up anew."""
        self._wake_at(self.unit.due_us)

    def _wake_at(self, due: float) -> None:
        self._wake_joint_us = due
        # One µs later than its instant, so that what was due has surely come.
        at_us = max(self.world.now, int(self.unit.next_deadline()) + 1)
        self.world.at(at_us, self._wake, due)

    def _wake(self, due: float) -> None:
        # Deadlines mostly move away before they come: then only look when it is worth it.
        if due != self._wake_joint_us or not self.alive:
            return
        self._wake_joint_us = math.inf
        if self.unit.due_us > due:
            self._wake_at(self.unit.due_us)
            return
        self.world.poll(self)
