"""I7: a joint that rebooted never moves until homed again; the rest hold.

Homing itself and slow jog are what I6 allows. That the rest hold is what I1 and I2 say of a run
with a joint that stopped; here it is that none of them resumes before that joint is homed again,
unless it restarted after *go* was sent: then the rest use up their first permit, and hold.
"""

from typing import Final

from coordinator.rehearsal.joint_node import Node
from coordinator.rehearsal.laptop import Laptop
from protocol.drive import Drive
from protocol.states import JointState
from simulator.unit import WorldTruth
from tests.campaign.invariants.base import Invariant
from tests.campaign.judge import Judge
from tests.campaign.truth import path_of, state_of

ON_PATH_MOTION: Final = frozenset({JointState.ADVANCING, JointState.MOVING, JointState.RAMPING})


class RebootedStays(Invariant):
    """Remembers who has not been homed since its boot, and when each start was sent."""

    name = "I7"

    def __init__(self, judge: Judge) -> None:
        super().__init__(judge)
        self._unhomed: dict[str, int] = dict.fromkeys(self.world.nodes, 0)
        """Who has not been homed since its boot, and when that began."""
        self._go_us: dict[tuple[int, int], int] = {}
        """When *go* was sent first, by session and a start's instant."""

    def sent(self, laptop: Laptop, joint_id: str, drive: Drive) -> None:
        plan = drive.plan
        if plan is not None and plan.change is not None and plan.change.before_ppm == 0:
            self._go_us.setdefault((drive.session, plan.change.at_us), self.world.now)

    def rebooted(self, node: Node) -> None:
        self._unhomed[node.id] = self.world.now

    def truth(self, node: Node, truth: WorldTruth) -> None:
        if truth.event == "home":
            self._unhomed.pop(node.id, None)
        elif truth.event == "resume" and self._unhomed:
            change = path_of(node).current
            assert change is not None
            go_us = self._go_us[node.unit.joint.session or 0, change.at_us]
            names = [self.world.nodes[one].name for one, us in self._unhomed.items() if us < go_us]
            if names:
                raise self.broken(
                    f"{node.name} resumed, but {', '.join(names)} restarted and was not homed since"
                )

    def touched(self, node: Node) -> None:
        if node.id in self._unhomed and state_of(node) in ON_PATH_MOTION:
            raise self.broken(f"{node.name} moves on a path, not homed since its boot")
