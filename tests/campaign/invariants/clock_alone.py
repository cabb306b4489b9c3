"""Joints begin within what the arm file allows, and none falls to rest because of its clock.

The wire document lets a joint do that by itself, alone while the others go on: so no map may be
sent to a joint in motion that leaves it with more than it can bleed off. Where the scenario broke a
joint's counter, the coordinator finds that out by contradiction, and nothing is said of it here.
"""

from typing import Final

from coordinator.rehearsal.joint_node import Node
from coordinator.rehearsal.laptop import Laptop
from protocol.constants import REMAINDER_LIMIT_US
from protocol.drive import Drive
from protocol.status import Status
from simulator.unit import WorldTruth
from tests.campaign.invariants.base import Invariant
from tests.campaign.judge import Judge

NS_PER_MS: Final = 1_000_000


class NoLoneClock(Invariant):
    """Keeps when joints began by each plan."""

    name = "clock"

    def __init__(self, judge: Judge) -> None:
        super().__init__(judge)
        self._began_ns: dict[tuple[int | None, int], list[int]] = {}

    def drove(self, node: Node, laptop: Laptop, drive: Drive, status: Status | None) -> None:
        if status is None or node.id in self.judge.broken_clock:
            return
        if abs(status.remainder_us) > REMAINDER_LIMIT_US:
            raise self.broken(
                f"{node.name} got clock map {status.map_number} while {status.state.word}, which "
                f"leaves it {status.remainder_us} µs to bleed off"
            )

    def truth(self, node: Node, truth: WorldTruth) -> None:
        if truth.event not in ("start", "resume") or node.id in self.judge.broken_clock:
            return
        began_ns = self._began_ns.setdefault((node.unit.joint.session, truth.plan), [])
        began_ns.append(truth.at_ns)
        apart_ms = (max(began_ns) - min(began_ns)) / NS_PER_MS
        limit_ms = self.world.arm.skew_limit_ms
        if limit_ms < apart_ms:
            raise self.broken(
                f"{node.name} began {apart_ms:.1f} ms apart from others by one plan, {limit_ms:g} "
                "ms are allowed"
            )
