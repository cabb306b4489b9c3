"""I1: a joint starts or resumes only if every joint of the run had complied with *arm* of the
plan before.

So no *go* may be sent before that either, which is sharper: what the coordinator believes is held
against what the joints truly did.
"""

from coordinator.rehearsal.joint_node import Node
from coordinator.rehearsal.laptop import Laptop
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

    def sent(self, laptop: Laptop, joint_id: str, drive: Drive) -> None:
        plan = drive.plan
        if plan is None:
            return
        if plan.change is None:
            self._arm[drive.session] = plan.number
        elif (drive.session, plan.number) not in self._arm_before:
            arm = self._arm_before[drive.session, plan.number] = self._arm.get(drive.session)
            if missing := self._missing(drive.session, arm):
                raise self.broken(
                    f"plan {plan.number} is sent, a start, but {missing} had not complied with "
                    f"arm {arm}"
                )

    def _missing(self, session: int, arm: int | None) -> str:
        """The joints that did not comply with an arm."""
        complied = self._complied.get((session, arm or 0), set())
        missing = sorted(self.world.nodes.keys() - complied)
        return ", ".join(self.world.nodes[one].name for one in missing)

    def drove(self, node: Node, laptop: Laptop, drive: Drive, status: Status | None) -> None:
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
        if missing := self._missing(session, arm):
            raise self.broken(
                f"{node.name} made a {truth.event} by plan {plan}, "
                f"but {missing} had not complied with arm {arm}"
            )
