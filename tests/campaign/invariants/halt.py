"""A hold or stop that was accepted really holds or stops.

Design sections 5.3 and 5.6. It is in force for a joint from the first drive sent after it that the
joint takes. From then on: a joint on the path is at the end of its permit within 1.5 worst link
delays of the command, where a hold is what brings it to rest; it rests within that and its ramp,
and a levelling that was about to begin may come in between (off the path, and after a stop, within
its braking; drivers that are off move nothing); and it begins nothing until somebody asks for
motion anew. A start that all had confirmed may still come within that 1.5 worst link delays. A jog
that goes on is not asked for anew: its control is still held. A joint that restarts has forgotten
the order with everything else: it rests, and I7 and I11 see to it that it does not begin to move.
That a stop is latched is a rule of its own (`latch`).
"""

from dataclasses import dataclass, field
from typing import Final

from coordinator.core import events as ev
from coordinator.core.run.permit import LEVELLING_US
from coordinator.rehearsal.joint_node import Node
from coordinator.rehearsal.laptop import Laptop
from protocol.constants import US
from protocol.drive import Drive, StopLevel
from protocol.states import MOVING_STATES, JointState
from protocol.status import Status
from tests.campaign.invariants.base import Invariant
from tests.campaign.judge import MOVES_BY_DRIVES, Judge
from tests.campaign.truth import body_of, limits_of, path_of

SPARE_US: Final = 20_000
"""For the errors of clocks."""
BROKEN_CLOCK_US: Final = 1_000_000
"""For a joint whose counter the scenario stepped: it measures its ramp by that."""
HELD_CONTROL_US: Final = 300_000
"""A jog asked for again within this time is the same jog."""
ON_PATH: Final = frozenset({JointState.ADVANCING, JointState.MOVING, JointState.RAMPING})


@dataclass(slots=True)
class _Order:
    """A hold (level 0) or stop under way."""

    level: StopLevel
    at_us: int
    soon_us: int
    """Until when a joint on the path may go on as if nothing had been asked."""
    on_path: bool
    """Whether it is this hold by which the arm comes to rest on its path."""
    after: dict[str, int]
    """Number of the last drive to each joint that did not carry it yet."""
    rest_us: dict[str, float] = field(default_factory=dict)
    """By when each joint that has taken it must be at rest."""


class HoldsAndStops(Invariant):
    """Keeps the newest hold or stop of each session."""

    name = "halt"

    def __init__(self, judge: Judge) -> None:
        super().__init__(judge)
        self._orders: dict[int, _Order] = {}
        self._jog_us: dict[int, int] = {}
        """By session: when a jog was asked for last."""
        self._before: dict[str, JointState] = {}

    def commanded(self, laptop: Laptop, command: ev.Command) -> None:
        session, now = laptop.core.session, self.world.now
        match command:
            case ev.Hold() | ev.Stop():
                level = command.level if isinstance(command, ev.Stop) else StopLevel.NONE
                run = laptop.core.run
                worst_delay_us = max(link.quality.worst_delay_us for link in laptop.core.links)
                soon_us = now + max(worst_delay_us * 3 // 2, LEVELLING_US) + SPARE_US
                before = self._orders.get(session)
                if not level and before and not before.level and before.soon_us > now:
                    # The permit of a hold under way was given by the delay of then: a second one
                    # makes it neither longer nor shorter.
                    soon_us = before.soon_us
                self._orders[session] = _Order(
                    level=level,
                    at_us=now,
                    soon_us=soon_us,
                    on_path=not level and run is not None and run.cause == ev.Because.OPERATOR,
                    after={link.joint.id: link.orders.sequence for link in laptop.core.links},
                )
            case ev.Play() | ev.Resume() | ev.Home():
                self._orders.pop(session, None)
            case ev.Step():
                self._orders.pop(session, None)
            case ev.HoldHome() if laptop.core.moved_by_hand:
                self._orders.pop(session, None)
            case ev.Jog(velocities_deg_s=velocities_deg_s) if not any(velocities_deg_s.values()):
                self._jog_us.pop(session, None)  # let go: the next is another press
            case ev.Jog() | ev.Go():
                if now - self._jog_us.get(session, -US) > HELD_CONTROL_US:
                    self._orders.pop(session, None)
                self._jog_us[session] = now

    def drove(self, node: Node, laptop: Laptop, drive: Drive, status: Status | None) -> None:
        order = self._orders.get(drive.session)
        if status is not None:
            self._forget(node, drive.session)
        if status is None or order is None or node.id not in order.after:
            return
        if drive.sequence <= order.after[node.id]:
            return
        if node.id not in order.rest_us:
            order.rest_us[node.id] = self._rest_us(node, order)

    def _rest_us(self, node: Node, order: _Order) -> float:
        """By when a joint must be at rest that takes an order now."""
        now, limits, path = self.world.now, limits_of(node), path_of(node)
        if order.level is StopLevel.RELEASE or limits is None:
            return now
        if order.level is StopLevel.NONE and (
            self._before.get(node.id) in ON_PATH or path.pending is not None
        ):
            return max(now, order.soon_us) + path.ramp.duration_us + SPARE_US
        speed = abs(body_of(node).position(self.judge.joint_us(node))[1])
        return now + speed / limits.acceleration * US + SPARE_US

    def touched(self, node: Node) -> None:
        state, before = body_of(node).state, self._before.get(node.id)
        self._before[node.id] = state
        order = self._orders.get(node.unit.joint.session or 0)
        if order is None or node.id not in order.rest_us or state not in MOVING_STATES:
            return
        now, what = self.world.now, "stop" if order.level else "hold"
        ago_ms = (now - order.at_us) / 1e3
        may_start = state is JointState.MOVING and not order.level and now <= order.soon_us
        if state in MOVES_BY_DRIVES and before is not state and not may_start:
            raise self.broken(
                f"{node.name} began to be {state.word} {ago_ms:.0f} ms after a {what} was asked "
                "for, of which it had heard"
            )
        falls_late_us = now - order.soon_us - SPARE_US
        has_clock = node.id not in self.judge.broken_clock
        if order.on_path and has_clock and state is JointState.MOVING and falls_late_us > 0:
            raise self.broken(
                f"{node.name} is {state.word} {ago_ms:.0f} ms after a {what} was asked for, its "
                f"permit lasts {falls_late_us / 1e3:.0f} ms longer than it may"
            )
        late_us = now - order.rest_us[node.id]
        if not has_clock:
            late_us -= BROKEN_CLOCK_US
        if late_us > 0:
            raise self.broken(
                f"{node.name} is {state.word} {ago_ms:.0f} ms after a {what} was asked for, "
                f"{late_us / 1e3:.0f} ms longer than it may take"
            )

    def rebooted(self, node: Node) -> None:
        self._before.pop(node.id, None)
        self._forget(node, None)

    def _forget(self, node: Node, but: int | None) -> None:
        """What other sessions asked of a joint is over: who drives it now may have lifted it."""
        for session, order in self._orders.items():
            if session != but:
                order.after.pop(node.id, None)
                order.rest_us.pop(node.id, None)
