"""I9: the position shown equals the steps issued within one microstep, or is flagged uncertain;
steps truly lost are flagged at the next passage of the home edge.

Both halves are checked against the true axis. A joint that says it is homed stands where it says,
within a microstep, but for steps that the scenario took from it; without current in its motor none
can know. And one that lost more than a joint can overlook is no longer homed, and says why, once
its axis has passed an edge of the sensor.
"""

import math
from itertools import combinations_with_replacement
from typing import Final

from coordinator.rehearsal.joint_node import Node
from coordinator.rehearsal.laptop import Laptop
from protocol.constants import COUNTS_PER_MICROSTEP, EDGE_TIMING_US, US
from protocol.drive import Drive
from protocol.states import JointState
from protocol.status import Fault, Status
from simulator.unit import WorldTruth
from tests.campaign.invariants.base import Invariant
from tests.campaign.judge import Judge
from tests.campaign.truth import axis_of, body_of

EDGE_MARGIN: Final = COUNTS_PER_MICROSTEP
"""Counts beyond an edge from which on it has surely been passed, and is not only touched."""


class PositionTrue(Invariant):
    """Compares what a status says with the world's axis."""

    name = "I9"

    def __init__(self, judge: Judge) -> None:
        super().__init__(judge)
        self._slipped: dict[str, float] = {}
        """What had been lost when the joint met its sensor last while it homed; between the two
        edges whose middle it takes, half of what it lost there counts."""
        self._homing: dict[str, set[int]] = {}
        """What had been lost at any time of the homing under way."""
        self._axis: dict[str, tuple[int, float]] = {}
        """What had been lost, and where the axis was when it was last seen well beside every edge:
        a joint is looked at whenever its sensor switches, so just at an edge it often is."""
        self.found = 0
        """How often a joint flagged what it had truly lost, at an edge."""

    def truth(self, node: Node, truth: WorldTruth) -> None:
        if truth.event == "home":
            self._slipped[node.id] = self._lost_when_met(node)

    def _lost_when_met(self, node: Node) -> float:
        """What had been lost when it met its sensor: what it lost since then it cannot know of."""
        now = self.judge.joint_us(node)
        away = axis_of(node, now) - body_of(node).position(now)[0]
        slipped = node.unit.slipped
        known = sorted(self._homing.pop(node.id, set()))
        for first, second in combinations_with_replacement(known, 2):
            before = (first + second) / 2
            if abs(away - (slipped - before)) <= COUNTS_PER_MICROSTEP:
                return before
        # A slip that itself takes the axis over an edge puts that one wrong by no more than itself.
        most = (known[-1] - known[0]) / 2 if known else 0.0
        if any(abs(away - (slipped - one)) <= most + COUNTS_PER_MICROSTEP for one in known):
            return slipped - away
        return slipped

    def rebooted(self, node: Node) -> None:
        self._axis.pop(node.id, None)
        self._homing.pop(node.id, None)

    def touched(self, node: Node) -> None:
        if body_of(node).state is JointState.HOMING:
            self._homing.setdefault(node.id, set()).add(node.unit.slipped)
        axis = axis_of(node, self.judge.joint_us(node))
        slipped, before = self._axis.get(node.id, (node.unit.slipped, axis))
        if slipped == node.unit.slipped and self._passed(
            node, axis - 2 * EDGE_MARGIN, axis + 2 * EDGE_MARGIN
        ):
            return
        self._axis[node.id] = node.unit.slipped, axis
        body = body_of(node)
        if slipped != node.unit.slipped or not self._passed(node, before, axis):
            return
        if node.id in self.judge.false_home or not self._beyond_doubt(node):
            return
        if body.homed:
            raise self.broken(
                f"{node.name} lost {self._lost(node):g} counts, its axis passed an edge of the "
                f"home sensor between {before:.0f} and {axis:.0f}, and it still says it is homed"
            )
        self.found += bool(body.faults & Fault.STEPS_LOST)

    def drove(self, node: Node, laptop: Laptop, drive: Drive, status: Status | None) -> None:
        if status is None or not status.homed or status.state is JointState.HOMING:
            return
        if not status.energised:
            raise self.broken(f"{node.name} says it is homed, and holds its axis by no motor")
        if node.id in self.judge.broken_clock | self.judge.false_home:
            return
        axis = axis_of(node, self.judge.joint_us(node))
        away = axis - self._lost(node) - status.position
        if node.unit.settings.continuous:
            away = math.remainder(away, node.unit.settings.counts_per_turn)
        if abs(away) > COUNTS_PER_MICROSTEP:
            raise self.broken(
                f"{node.name} says {status.position} counts and is {away:.1f} away from there"
            )
        if status.faults & Fault.STEPS_LOST:
            raise self.broken(f"{node.name} says it lost steps and that it is homed")

    def _lost(self, node: Node) -> float:
        return node.unit.slipped - self._slipped.get(node.id, 0.0)

    def _beyond_doubt(self, node: Node) -> bool:
        """Whether it lost more than the protocol lets it overlook at any of its speeds."""
        limits = body_of(node).limits
        most = limits.full_step + EDGE_TIMING_US / US * (limits.velocity + limits.homing.fast)
        return abs(math.remainder(self._lost(node), limits.counts_per_turn)) > most

    def _passed(self, node: Node, a: float, b: float) -> bool:
        """Whether an edge of the sensor lies well between two positions of the axis."""
        settings = node.unit.settings
        low, high = min(a, b) + EDGE_MARGIN, max(a, b) - EDGE_MARGIN
        if low >= high:
            return False
        edges = [settings.home_centre + side * settings.home_half_width for side in (-1, 1)]
        if not settings.continuous:
            return any(low < edge < high for edge in edges)
        turn = settings.counts_per_turn
        return any(math.floor((high - edge) / turn) > (low - edge) / turn for edge in edges)
