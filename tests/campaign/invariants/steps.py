"""Steps end at their exact sum, in counts, or it is told that they do not.

What was asked of a joint by steps is summed up here from where it stood before the first; once its
coordinator asks it for nothing more it must truly stand there, unless a line says otherwise. What
another command, a fault, a stop or a restart did to the joint meanwhile ends the sum.
"""

from dataclasses import dataclass

from coordinator.core import events as ev
from coordinator.rehearsal.joint_node import Node
from coordinator.rehearsal.laptop import Laptop
from protocol.drive import Drive
from protocol.states import JointState
from tests.campaign.invariants.base import Invariant
from tests.campaign.judge import Judge
from tests.campaign.truth import body_of


@dataclass(slots=True)
class _Sum:
    """Of one joint's steps."""

    session: int
    boot: int
    stood: float
    """Where it stood before the first, in counts; a stop may leave it between two."""
    at: float
    """Where they end: the sum in counts, not rounded."""
    told_before: list[ev.Note]
    """What people had been told by then."""


class StepsAddUp(Invariant):
    """Follows the steps of each joint."""

    name = "steps"

    def __init__(self, judge: Judge) -> None:
        super().__init__(judge)
        self._sums: dict[str, _Sum] = {}
        """By joint."""
        self._ill: dict[str, tuple[int, int]] = {}
        """By joint: its faults and the stop latched, as last seen."""

    def commanded(self, laptop: Laptop, command: ev.Command) -> None:
        if not isinstance(command, ev.Step):
            lets_go = isinstance(command, ev.Jog) and not any(command.velocities_deg_s.values())
            if not lets_go and not isinstance(command, ev.Blink):
                self._sums.clear()
            return
        node = next(one for one in self.world.nodes.values() if one.name == command.joint)
        joint, session = laptop.core.named(command.joint).joint, laptop.core.session
        known = self._sums.get(node.id)
        if known is None or known.session != session:
            position, speed = body_of(node).position(self.judge.joint_us(node))
            if speed:
                raise self.broken(f"a step of {node.name} is taken while it moves")
            boot = node.unit.joint.identity.boot
            told_before = list(laptop.core.outbox.notes)
            known = _Sum(session, boot, position, round(position), told_before)
            self._sums[node.id] = known
        known.at += command.by_deg * joint.counts_per_degree

    def touched(self, node: Node) -> None:
        body = body_of(node)
        ill = int(body.faults), int(body.latched)
        # What is latched from before is cleared by the first step itself.
        if ill != self._ill.get(node.id, (0, 0)):
            self._ill[node.id] = ill
            if any(ill):
                self._sums.pop(node.id, None)
        if body.state is JointState.HOMING:
            self._sums.pop(node.id, None)

    def rebooted(self, node: Node) -> None:
        self._sums.pop(node.id, None)

    def sent(self, laptop: Laptop, joint_id: str, drive: Drive) -> None:
        known, core = self._sums.get(joint_id), laptop.core
        if known is None or known.session != core.session:
            return
        node = self.world.nodes[joint_id]
        link = core.named(node.name)
        if core.jog.is_stepping(link):
            return
        del self._sums[joint_id]
        told = any(
            note.code == "steps-short" and note.joint == node.name
            for note in core.outbox.notes
            if not any(note is one for one in known.told_before)
        )
        position = body_of(node).position(self.judge.joint_us(node))[0]
        end = round(known.at)
        if position == known.stood and end == round(known.stood):
            return  # their sum is nothing, and it never began to move
        off = position - end
        if not told and off:
            raise self.broken(
                f"steps of {node.name} end {off:+g} counts from their sum, and nobody is told"
            )
