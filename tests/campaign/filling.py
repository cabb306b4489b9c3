"""Whether buffers are ever full, and fed while the arm moves."""

from collections import Counter

from coordinator.core.run.point_feed import KEPT_BEHIND
from coordinator.rehearsal.joint_node import Node
from protocol.states import JointState
from tests.campaign.truth import path_of, room_of, state_of


class Filling:
    """Counts what happens to the points of all joints."""

    def __init__(self) -> None:
        self.struck: Counter[str] = Counter()
        self._short: set[str] = set()
        """Joints whose points reach less far than their permit."""
        self._next: dict[str, int] = {}
        """Index of the next point that each joint awaits."""

    def look(self, node: Node) -> None:
        """Anything happened in a joint."""
        path, moves = path_of(node), state_of(node) is JointState.MOVING
        buffer = path.buffer
        left = buffer.last is None
        if self._next.get(node.id, 0) != buffer.next_index:
            self._next[node.id] = buffer.next_index
            self.struck["points fed in motion"] += moves
            # A laptop leaves room for the points that a joint may not have freed yet.
            self.struck["full buffer"] += left and room_of(node) < KEPT_BEHIND
        permit_us = path.effective_permit_us() if left and moves else None
        if permit_us is None or permit_us == path.permit_us:
            self._short.discard(node.id)
        elif node.id not in self._short:
            self._short.add(node.id)
            self.struck["permit cut short for want of points"] += 1
