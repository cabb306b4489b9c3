"""I6: no motion while unhomed except homing and slow jog; none while faulted."""

from typing import Final

from coordinator.rehearsal.joint_node import Node
from protocol.states import AT_REST, JointState
from simulator.unit import WorldTruth
from tests.campaign.invariants.base import Invariant
from tests.campaign.judge import Judge
from tests.campaign.truth import body_of

S = JointState
WITHOUT_HOME: Final = frozenset({S.HOMING, S.JOGGING, S.STOPPING, S.UNHOMED, S.FAULTED})
STILL_COUNTS: Final = 1.0
"""The last part of a motion's end falls between two looks."""


class NoBlindMotion(Invariant):
    """Looks at states, speeds, and at whether what rests stays where it is."""

    name = "I6"

    def __init__(self, judge: Judge) -> None:
        super().__init__(judge)
        self._stood: dict[str, float] = {}

    def truth(self, node: Node, truth: WorldTruth) -> None:
        if truth.event in ("start", "resume"):
            # A counter that is stepped passes a start and the rest behind it between two looks.
            self._stood.pop(node.id, None)

    def touched(self, node: Node) -> None:
        body = body_of(node)
        state = body.state
        if not body.homed and state not in WITHOUT_HOME:
            raise self.broken(f"{node.name} is {state.word} though it is not homed")
        if body.faults and state not in AT_REST and state is not S.STOPPING:
            faults = ", ".join(body.faults.words)
            raise self.broken(f"{node.name} is {state.word} in spite of a fault: {faults}")
        unit = node.unit
        if state in AT_REST:
            axis = body.rest_position - body.shift + unit._origin - unit.slipped
            stood = self._stood.setdefault(node.id, axis)
            if abs(axis - stood) > STILL_COUNTS:
                raise self.broken(
                    f"{node.name} moved by {axis - stood:.1f} counts while {state.word}"
                )
            return
        self._stood.pop(node.id, None)
        if state is S.JOGGING and not body.homed:
            _, velocity = body.position(self.judge.joint_us(node))
            slow = body.limits.jog_unhomed
            if abs(velocity) > slow * 1.0005 + 1.0:
                raise self.broken(
                    f"{node.name} is jogged unhomed by {velocity:.0f} counts/s, the limit is {slow}"
                )

    def rebooted(self, node: Node) -> None:
        self._stood.pop(node.id, None)
