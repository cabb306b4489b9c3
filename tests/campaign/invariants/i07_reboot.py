"""I7: a joint that rebooted never moves until homed again; the rest hold.

Homing itself and slow jog are what I6 allows. That the rest hold is what I1 and I2 say of a run
with a joint that stopped; here it is that none of them starts or resumes before that joint is
homed again.
"""

from coordinator.rehearsal.node import Node
from protocol.states import JointState
from simulator.unit import WorldTruth
from tests.campaign.invariants.base import Invariant
from tests.campaign.judge import Judge
from tests.campaign.truth import state_of

ON_PATH_MOTION = (JointState.ADVANCING, JointState.MOVING, JointState.RAMPING)


class RebootedStays(Invariant):
    """Remembers who has not been homed since its boot."""

    name = "I7"

    def __init__(self, judge: Judge) -> None:
        super().__init__(judge)
        self._unhomed: set[str] = set(self.world.nodes)

    def rebooted(self, node: Node) -> None:
        self._unhomed.add(node.id)

    def truth(self, node: Node, truth: WorldTruth) -> None:
        if truth.event == "home":
            self._unhomed.discard(node.id)
        elif truth.event == "resume" and self._unhomed:
            names = ", ".join(self.world.nodes[one].name for one in sorted(self._unhomed))
            raise self.broken(f"{node.name} resumed, but {names} restarted and was not homed since")

    def touched(self, node: Node) -> None:
        if node.id in self._unhomed and state_of(node) in ON_PATH_MOTION:
            raise self.broken(f"{node.name} moves on a path, not homed since its boot")
