"""I9: the position shown equals the steps issued within one microstep, or is flagged uncertain;
steps truly lost are flagged at the next passage of the home edge.

The first half is checked against the true axis: a joint that says it is homed stands where it says,
within a microstep, but for steps that the scenario took from it. The second half is not checked
yet: a joint looks at its home edge only while it homes, and then the shift takes care of it.
"""

from coordinator.rehearsal.node import Node
from coordinator.rehearsal.station import Station
from protocol.constants import COUNTS_PER_MICROSTEP
from protocol.drive import Drive
from protocol.states import JointState
from protocol.status import Status
from simulator.unit import WorldTruth
from tests.campaign.invariants.base import Invariant
from tests.campaign.judge import Judge
from tests.campaign.truth import axis_of


class PositionTrue(Invariant):
    """Compares what a status says with the world's axis."""

    name = "I9"

    def __init__(self, judge: Judge) -> None:
        super().__init__(judge)
        self._slipped: dict[str, int] = {}
        """What had been lost when the joint was homed last."""
        self._turns: dict[str, int] = {}
        """Where home was found, of an axis that turns without end."""

    def truth(self, node: Node, truth: WorldTruth) -> None:
        if truth.event == "home":
            self._slipped[node.id] = node.unit.slipped

    def drove(self, node: Node, station: Station, drive: Drive, status: Status | None) -> None:
        if status is None or not status.homed or status.state is JointState.HOMING:
            return
        if node.id in self.judge.broken_clock | self.judge.false_home:
            return
        axis = axis_of(node, self.judge.joint_us(node))
        lost = node.unit.slipped - self._slipped.get(node.id, 0)
        away = axis - lost - status.position
        if node.unit.settings.continuous:
            away -= round(away / node.unit.settings.counts_per_turn) * (
                node.unit.settings.counts_per_turn
            )
        if abs(away) > COUNTS_PER_MICROSTEP:
            raise self.broken(
                f"{node.name} says {status.position} counts and is {away:.1f} away from there"
            )
