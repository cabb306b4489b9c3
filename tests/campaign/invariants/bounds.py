"""Between which counts of its axis each joint may be, until something else is asked of it."""

from dataclasses import dataclass

from coordinator.rehearsal.joint_node import Node
from protocol.states import JointState
from tests.campaign.judge import Judge
from tests.campaign.truth import body_of


@dataclass(slots=True)
class Bounds:
    """Of one joint, in a session of its coordinator."""

    session: int
    low: float
    high: float


class Ills:
    """What joints suffer, so that a new fault is told from one that stood before."""

    def __init__(self) -> None:
        self._ill: dict[str, tuple[int, int]] = {}

    def beyond(self, judge: Judge, node: Node, within: dict[str, Bounds]) -> float:
        """By how many counts a joint is beyond its bounds, 0 within; bounds that ended go.

        They end with a homing, a new fault or stop, and another session. What is latched from
        before is cleared by the first command itself.
        """
        known, body = within.get(node.id), body_of(node)
        ill, before = (int(body.faults), int(body.latched)), self._ill.get(node.id, (0, 0))
        self._ill[node.id] = ill
        if known is None:
            return 0.0
        is_homing = body.state is JointState.HOMING
        if is_homing or (ill != before and any(ill)) or node.unit.joint.session != known.session:
            del within[node.id]
            return 0.0
        position = body.position(judge.joint_us(node))[0]
        beyond = max(known.low - position, position - known.high)
        return beyond if beyond > 1 else 0.0
