"""I4: while all run, true path times differ by no more than the sum of the clock error bounds and
map remainders.

With it goes what it rests on: the true offset of every joint lies within its guarantee whenever
the coordinator trusts that clock, no start was skewed by more than the report's bound, and a joint
starts at the start's instant by its own clock or not at all.
"""

from typing import Final

from coordinator.core.run.report import StartRecord
from coordinator.rehearsal.joint_node import Node
from coordinator.rehearsal.laptop import Laptop
from protocol.states import JointState
from simulator.unit import WorldTruth
from tests.campaign.invariants.base import Invariant
from tests.campaign.judge import Judge
from tests.campaign.truth import link_of, path_of, path_us, state_of

INTERVAL_US: Final = 40_000
"""How often path times are compared: in that time they part by 0.02 µs at most."""
AGE_ALLOWANCE: Final = 400e-6
"""Per µs since the newest status: drift of both crystals and slewing."""
ROUNDING_US: Final = 4.0


class Together(Invariant):
    """Compares true clocks with the guarantee, and true path times with each other."""

    name = "I4"

    def __init__(self, judge: Judge) -> None:
        super().__init__(judge)
        self._compared_us = 0
        self._starts: dict[tuple[int, int], dict[str, int]] = {}
        """True ns at which joints started, by session and plan."""
        self.checked = 0
        self.spreads: dict[tuple[int, int], tuple[int, int]] = {}
        """True start skew and bound of every start that was judged, in µs, by session and plan."""

    def heard(self, laptop: Laptop, joint_id: str) -> None:
        if joint_id in self.judge.broken_clock:
            return
        node = self.world.nodes[joint_id]
        link = link_of(laptop, joint_id)
        now = laptop.host.arm(self.world.now)
        interval = link.clock.guarantee(now)
        if interval is None or link.status is None or not node.alive:
            return
        if link.status.boot != node.unit.joint.identity.boot:
            return
        offset_us = self.judge.joint_us(node) - now
        self.checked += 1
        if not interval.low_us - 1 <= offset_us <= interval.high_us + 1:
            raise self.broken(
                f"{node.name}: its offset is {offset_us:.1f} µs, guaranteed was "
                f"{interval.low_us} to {interval.high_us} µs"
            )

    def touched(self, node: Node) -> None:
        now = self.world.now
        if now - self._compared_us < INTERVAL_US:
            return
        self._compared_us = now
        nodes = list(self.world.nodes.values())
        if len(nodes) < 2 or any(state_of(one) is not JointState.MOVING for one in nodes):
            return
        if any(one.id in self.judge.broken_clock or not one.alive for one in nodes):
            return
        first = nodes[0].unit.joint.session
        change = path_of(nodes[0]).current
        if any(path_of(one).current != change or one.unit.joint.session != first for one in nodes):
            return
        laptop = next((s for s in self.world.laptops if s.core.session == first), None)
        if laptop is None or not laptop.awake:
            return
        bounds = []
        for link in laptop.core.links:
            bound = link.clock_uncertainty_us(laptop.now)
            if bound is None or link.heard_us is None:
                return
            bounds.append(bound + AGE_ALLOWANCE * (laptop.now - link.heard_us))
        paths = [path_us(one, one.unit.joint_us(now)) for one in nodes]
        low, high = paths.index(min(paths)), paths.index(max(paths))
        apart_us, allowed_us = paths[high] - paths[low], bounds[low] + bounds[high] + ROUNDING_US
        if apart_us > allowed_us:
            raise self.broken(
                f"{nodes[high].name} is {apart_us:.1f} µs of path time ahead of "
                f"{nodes[low].name}, the clock bounds allow {allowed_us:.1f} µs"
            )

    def truth(self, node: Node, truth: WorldTruth) -> None:
        if truth.event in ("start", "resume"):
            self._judge_instant(node, truth)
            key = node.unit.joint.session or 0, truth.plan
            self._starts.setdefault(key, {})[node.id] = truth.at_ns

    def _judge_instant(self, node: Node, truth: WorldTruth) -> None:
        change, clock = path_of(node).current, node.unit.joint.clock
        if change is None or clock is None or node.id in self.judge.broken_clock:
            return
        late_us = clock.arm(node.unit.joint_us(truth.at_ns / 1e3)) - change.at_us
        if abs(late_us) > ROUNDING_US:
            raise self.broken(
                f"{node.name} made its {truth.event} {late_us:.1f} µs after its instant"
            )

    def crashed(self, laptop: Laptop) -> None:
        self._judge_starts(laptop)

    def slept(self, laptop: Laptop, slept_us: int) -> None:
        # The session ends now, but for a short sleep; what it reported is judged with it.
        self._judge_starts(laptop)

    def at_end(self) -> None:
        for laptop in self.world.laptops:
            self._judge_starts(laptop)

    def _judge_starts(self, laptop: Laptop) -> None:
        """Compare what reports state with what really happened, whatever broke since or before.

        A false bound is allowed only where a clock broke and nobody has found out.
        """
        for report in laptop.core.reports.values():
            for record in report.starts:
                self._judge_start(laptop.core.session, record)

    def _judge_start(self, session: int, record: StartRecord) -> None:
        starts, start_skew_max_us = (
            self._starts.get((session, record.plan), {}),
            record.start_skew_max_us,
        )
        if start_skew_max_us is None or len(starts) < len(self.world.nodes):
            return
        epochs = [(session, name, one.clock_epoch) for name, one in record.joints.items()]
        if not self.judge.hidden.isdisjoint(epochs):
            return
        start_skew_us = (max(starts.values()) - min(starts.values())) / 1e3
        self.spreads[session, record.plan] = round(start_skew_us), start_skew_max_us
        if start_skew_us > start_skew_max_us:
            raise self.broken(
                f"a start was skewed by {start_skew_us:.1f} µs, its report states at most "
                f"{start_skew_max_us} µs"
            )
