"""A stop that was accepted is latched by every joint, as high as it was asked for.

A joint owes it from the first drive that it takes of those sent after it was asked for, in whatever
session: the end of a session takes no stop back, and neither does a lower one that comes later.
Until then nothing may be asked of that joint that would lift it. What was latched may be lifted by
another coordinator, or forgotten in a restart; that nothing moves by that is for I7 and I11. No
drive asks for drivers beside a stop.
"""

from dataclasses import dataclass

from coordinator.core import events as ev
from coordinator.rehearsal.joint_node import Node
from coordinator.rehearsal.laptop import Laptop
from protocol.drive import Drive, StopLevel
from protocol.status import Status
from tests.campaign.invariants.base import Invariant
from tests.campaign.judge import Judge
from tests.campaign.truth import body_of


@dataclass(slots=True)
class _Owed:
    level: StopLevel
    """The highest that was asked for."""
    session: int
    after: int
    """Session in which it was asked for last, and number of the last drive before that."""


class StopsLatched(Invariant):
    """Keeps what each joint owes to each laptop."""

    name = "latch"

    def __init__(self, judge: Judge) -> None:
        super().__init__(judge)
        self._owed: dict[tuple[Laptop, str], _Owed] = {}

    def commanded(self, laptop: Laptop, command: ev.Command) -> None:
        names = {link.name for link in laptop.core.links}
        match command:
            case ev.Stop(level=level):
                self._ask(laptop, level)
            case ev.Play():
                self._require_latched(laptop, names)
            case ev.Home(joints=joints):
                self._require_latched(laptop, set(joints) or names)
            case ev.HoldHome(joint=name) if laptop.core.moved_by_hand:
                self._require_latched(laptop, {name})
            case ev.Jog(velocities_deg_s=velocities_deg_s):
                turned = {name for name, deg_s in velocities_deg_s.items() if deg_s}
                self._require_latched(laptop, turned)
            case ev.Go(targets_deg=targets_deg):
                self._require_latched(laptop, set(targets_deg))
            case ev.Step(joint=name):
                self._require_latched(laptop, {name})

    def _ask(self, laptop: Laptop, level: StopLevel) -> None:
        for link in laptop.core.links:
            owed = self._owed.get((laptop, link.joint.id))
            highest = level if owed is None else max(level, owed.level)
            self._owed[laptop, link.joint.id] = _Owed(
                highest, laptop.core.session, link.orders.sequence
            )

    def _require_latched(self, laptop: Laptop, names: set[str]) -> None:
        for link in laptop.core.links:
            owed = self._owed.get((laptop, link.joint.id))
            if owed is not None and link.name in names:
                raise self.broken(
                    f"motion of {link.name} was accepted before it has latched stop {owed.level:d}"
                )

    def sent(self, laptop: Laptop, joint_id: str, drive: Drive) -> None:
        if drive.stop and drive.energise:
            name = self.world.nodes[joint_id].name
            raise self.broken(f"{name} is asked for its drivers beside stop {drive.stop:d}")

    def drove(self, node: Node, laptop: Laptop, drive: Drive, status: Status | None) -> None:
        owed = self._owed.get((laptop, node.id))
        if status is None or owed is None:
            return
        if drive.session == owed.session:
            if drive.sequence <= owed.after:
                return
        elif drive.session != laptop.core.session:
            return  # of a session before: it was on its way
        latched = body_of(node).latched
        if latched < owed.level:
            raise self.broken(
                f"{node.name} has latched stop {latched:d} after drive {drive.sequence}, stop "
                f"{owed.level:d} was asked for before that was sent"
            )
        del self._owed[laptop, node.id]

    def crashed(self, laptop: Laptop) -> None:
        self._owed = {key: owed for key, owed in self._owed.items() if key[0] is not laptop}
