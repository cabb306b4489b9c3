"""On its way to a place no joint turns beyond it, nor away from it.

Where each joint truly stood when the control was pressed, and where the place is, bound it until
something else is asked of it. What a fault, a stop or a restart does to it ends that.
"""

from collections.abc import Mapping

from coordinator.core import events as ev
from coordinator.rehearsal.joint_node import Node
from coordinator.rehearsal.laptop import Laptop
from tests.campaign.invariants.base import Invariant
from tests.campaign.invariants.bounds import Bounds, Ills
from tests.campaign.judge import Judge
from tests.campaign.truth import body_of


class NotBeyondPlace(Invariant):
    """Follows the way of each joint."""

    name = "place"

    def __init__(self, judge: Judge) -> None:
        super().__init__(judge)
        self._ways: dict[str, Bounds] = {}
        """By joint."""
        self._place: Mapping[str, float] = {}
        """Where they go: said again, it is no other way."""
        self._ills = Ills()
        """By joint: its faults and the stop latched, as last seen."""

    def commanded(self, laptop: Laptop, command: ev.Command) -> None:
        if not isinstance(command, ev.Go):
            lets_go = isinstance(command, ev.Jog) and not any(command.velocities_deg_s.values())
            if not lets_go and not isinstance(command, ev.Blink | ev.Hold):
                self._ways.clear()
                self._place = {}
            return
        if command.targets_deg == self._place:
            return
        self._place = command.targets_deg
        self._ways.clear()
        for node in self.world.nodes.values():
            angle = command.targets_deg.get(node.name)
            if angle is None:
                continue
            target = laptop.core.named(node.name).joint.to_counts(angle)
            position, speed = body_of(node).position(self.judge.joint_us(node))
            if speed:
                raise self.broken(f"{node.name} is sent to a place while it moves")
            low, high = sorted((position, float(target)))
            self._ways[node.id] = Bounds(laptop.core.session, low, high)

    def touched(self, node: Node) -> None:
        if beyond := self._ills.beyond(self.judge, node, self._ways):
            raise self.broken(f"{node.name} is {beyond:.0f} counts beyond its way to a place")

    def rebooted(self, node: Node) -> None:
        self._ways.pop(node.id, None)
