"""Rules beside the campaign's invariants, on what really came of a start and of a hold."""

from dataclasses import replace

from coordinator.core.run import Phase
from coordinator.rehearsal.joint_node import Node
from coordinator.rehearsal.laptop import Laptop
from protocol.constants import FIRST_PERMIT_US
from protocol.drive import Drive
from protocol.states import MOVING_STATES
from protocol.status import Status
from simulator.unit import WorldTruth
from tests.campaign.invariants.base import Invariant
from tests.campaign.invariants.i02_permit import NoFurtherThanPermit
from tests.campaign.invariants.i07_reboot import RebootedStays
from tests.campaign.judge import Judge
from tests.campaign.truth import path_of, state_of

ROUNDING_US = 2.0


class FirstPermitOnly(Invariant):
    """Where one joint never accepted *go*, who began all the same rests within the first permit."""

    name = "I2"

    def __init__(self, judge: Judge) -> None:
        super().__init__(judge)
        self._accepted: dict[tuple[int, int], set[str]] = {}
        self._began: dict[str, tuple[tuple[int, int], float]] = {}

    def drove(self, node: Node, laptop: Laptop, drive: Drive, status: Status | None) -> None:
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
            limit_us = stand_us + FIRST_PERMIT_US + path_of(node).ramp.path_us + ROUNDING_US
            if missing and truth.path_us > limit_us:
                names = ", ".join(self.world.nodes[one].name for one in sorted(missing))
                raise self.broken(
                    f"{node.name} rests at path time {truth.path_us:.0f} µs after a start from "
                    f"{stand_us:.0f} µs that {names} never accepted, allowed are {limit_us:.0f} µs"
                )


class NoStartEither(RebootedStays):
    """As the campaign's of a resume, of every start: none is made once a joint restarted.

    But where *go* had been sent by then: nobody can promise to hear of a restart in time. What the
    others then do, the permit bounds (I2).
    """

    def truth(self, node: Node, truth: WorldTruth) -> None:
        if truth.event == "start":
            truth = replace(truth, event="resume")
        super().truth(node, truth)


class HeldIsRest(Invariant):
    """While the coordinator says *held* or *paused*, every joint of its session really rests."""

    name = "I11"

    def touched(self, node: Node) -> None:
        if state_of(node) not in MOVING_STATES:
            return
        for laptop in self.world.laptops:
            run = laptop.core.run
            if (
                laptop.awake
                and run is not None
                and run.phase in (Phase.HELD, Phase.PAUSED)
                and node.unit.joint.session == laptop.core.session
            ):
                raise self.broken(f"{node.name} is {state_of(node).word} while the run is held")


EXTRA: tuple[type[Invariant], ...] = (
    NoFurtherThanPermit,
    FirstPermitOnly,
    NoStartEither,
    HeldIsRest,
)
