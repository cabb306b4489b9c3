"""I1: a joint starts or resumes only if every joint of the run had complied with *arm* of the
plan before.
"""

from coordinator.rehearsal.node import Node
from coordinator.rehearsal.station import Station
from protocol.drive import Drive
from protocol.status import Status
from simulator.unit import WorldTruth
from tests.campaign.invariants.base import Invariant
from tests.campaign.judge import Judge


class AllArmed(Invariant):
    """Keeps who complied with which *arm*, by session and plan number."""

    name = "I1"

    def __init__(self, judge: Judge) -> None:
        super().__init__(judge)
        self._complied: dict[tuple[int, int], set[str]] = {}
        self._arm: dict[int, int] = {}
        self._arm_before: dict[tuple[int, int], int | None] = {}

    def sent(self, station: Station, joint_id: str, drive: Drive) -> None:
        plan = drive.plan
        if plan is None:
            return
        if plan.change is None:
            self._arm[drive.session] = plan.number
        else:
            self._arm_before.setdefault((drive.session, plan.number), self._arm.get(drive.session))

    def drove(self, node: Node, station: Station, drive: Drive, status: Status | None) -> None:
        plan = drive.plan
        if status is None or plan is None or plan.change is not None:
            return
        if status.plan == plan.number:
            self._complied.setdefault((drive.session, plan.number), set()).add(node.id)

    def truth(self, node: Node, truth: WorldTruth) -> None:
        if truth.event not in ("start", "resume"):
            return
        session, plan = node.unit.joint.session or 0, truth.plan
        arm = self._arm_before.get((session, plan))
        if arm is None:
            raise self.broken(f"{node.name} made a {truth.event} by plan {plan} without any arm")
        missing = self.world.nodes.keys() - self._complied.get((session, arm), set())
        if missing:
            names = ", ".join(sorted(self.world.nodes[one].name for one in missing))
            raise self.broken(
                f"{node.name} made a {truth.event} by plan {plan}, "
                f"but {names} had not complied with arm {arm}"
            )
