"""Rules beside the campaign's invariants, on what really came of a start and of a hold."""

from coordinator.core.run import Phase
from coordinator.rehearsal.node import Node
from coordinator.rehearsal.station import Station
from protocol.constants import FIRST_LEASE_US
from protocol.drive import Drive
from protocol.pathtime import RateChange
from protocol.states import MOVING_STATES
from protocol.status import Status
from simulator.unit import WorldTruth
from tests.campaign.invariants.base import Invariant
from tests.campaign.invariants.i02_lease import NoFurtherThanLease
from tests.campaign.invariants.i07_reboot import RebootedStays
from tests.campaign.judge import Judge
from tests.campaign.truth import path_of, state_of

ROUNDING_US = 2.0


class FirstLeaseOnly(Invariant):
    """Where one joint never accepted *go*, who began all the same rests within the first lease."""

    name = "I2"

    def __init__(self, judge: Judge) -> None:
        super().__init__(judge)
        self._accepted: dict[tuple[int, int], set[str]] = {}
        self._began: dict[str, tuple[tuple[int, int], float]] = {}

    def drove(self, node: Node, station: Station, drive: Drive, status: Status | None) -> None:
        plan = drive.plan
        if status is not None and plan is not None and status.plan == plan.number and plan.change:
            self._accepted.setdefault((drive.session, plan.number), set()).add(node.id)

    def truth(self, node: Node, truth: WorldTruth) -> None:
        if truth.event in ("start", "resume"):
            key = node.unit.joint.session or 0, truth.plan
            self._began[node.id] = key, truth.path_us
        elif truth.event in ("hold", "finish") and node.id in self._began:
            key, stand_us = self._began.pop(node.id)
            missing = self.world.nodes.keys() - self._accepted.get(key, set())
            limit_us = stand_us + FIRST_LEASE_US + path_of(node).ramp.path_us + ROUNDING_US
            if missing and truth.path_us > limit_us:
                names = ", ".join(self.world.nodes[one].name for one in sorted(missing))
                raise self.broken(
                    f"{node.name} rests at path time {truth.path_us:.0f} µs after a start from "
                    f"{stand_us:.0f} µs that {names} never accepted, allowed are {limit_us:.0f} µs"
                )


class LeaseOfTheStart(NoFurtherThanLease):
    """As the campaign's, which takes a withdrawn override for another start.

    The newer plan then carries the start's change again.
    """

    def __init__(self, judge: Judge) -> None:
        super().__init__(judge)
        self._changes: dict[int, RateChange] = {}

    def sent(self, station: Station, joint_id: str, drive: Drive) -> None:
        change = drive.plan.change if drive.plan is not None else None
        if change is None or change.before_ppm or change == self._changes.get(drive.session):
            return
        self._changes[drive.session] = change
        super().sent(station, joint_id, drive)


class NoNewStart(RebootedStays):
    """As the campaign's, but a start that was already on its way when a joint rebooted may happen.

    A joint may lose its power after its last echo and before the instant. Nobody can promise to
    hear of that in time; what the others then do, the lease bounds (I2).
    """

    def __init__(self, judge: Judge) -> None:
        super().__init__(judge)
        self._booted_us: dict[str, int] = {}
        self._armed_us: dict[tuple[int, int], int] = {}
        """When the plan that stands before each change was sent first, by session and number."""
        self._arm: dict[int, tuple[int, int]] = {}

    def rebooted(self, node: Node) -> None:
        super().rebooted(node)
        self._booted_us[node.id] = self.world.now

    def sent(self, station: Station, joint_id: str, drive: Drive) -> None:
        plan = drive.plan
        if plan is None:
            return
        number, sent_us = self._arm.get(drive.session, (0, 0))
        if plan.change is not None:
            self._armed_us.setdefault((drive.session, plan.number), sent_us)
        elif plan.number != number:
            self._arm[drive.session] = plan.number, self.world.now

    def truth(self, node: Node, truth: WorldTruth) -> None:
        if truth.event == "home":
            super().truth(node, truth)
        elif truth.event in ("start", "resume"):
            key = node.unit.joint.session or 0, truth.plan
            armed_us = self._armed_us.get(key, self.world.now)
            for joint_id in sorted(self._unhomed):
                if self._booted_us.get(joint_id, 0) < armed_us:
                    name = self.world.nodes[joint_id].name
                    raise self.broken(
                        f"{node.name} made a {truth.event} by plan {key[1]}, armed when {name} "
                        "had restarted and was not homed"
                    )


class HeldIsRest(Invariant):
    """While the coordinator says *held* or *paused*, every joint of its session really rests."""

    name = "I11"

    def touched(self, node: Node) -> None:
        if state_of(node) not in MOVING_STATES:
            return
        for station in self.world.stations:
            run = station.core.run
            if (
                station.awake
                and run is not None
                and run.phase in (Phase.HELD, Phase.PAUSED)
                and node.unit.joint.session == station.core.session
            ):
                raise self.broken(f"{node.name} is {state_of(node).word} while the run is held")


EXTRA: tuple[type[Invariant], ...] = (
    LeaseOfTheStart,
    FirstLeaseOnly,
    NoNewStart,
    HeldIsRest,
)
