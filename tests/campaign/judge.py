"""Watches a world and lets every invariant look at the true state after every event."""

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Final

from coordinator.core import events as ev
from coordinator.rehearsal.joint_node import Node
from coordinator.rehearsal.laptop import Laptop
from coordinator.rehearsal.world import World
from coordinator.timing.clock import JointClock
from protocol.drive import Drive, StopLevel
from protocol.states import JointState
from protocol.status import Status
from simulator.network import Direction
from simulator.unit import WorldTruth
from tests.campaign.filling import Filling
from tests.campaign.truth import link_of, state_of

if TYPE_CHECKING:
    from tests.campaign.invariants.base import Invariant
    from tests.campaign.lanes import Lanes

MOVES_BY_DRIVES: Final = frozenset(
    {JointState.HOMING, JointState.JOGGING, JointState.ADVANCING, JointState.MOVING}
)
"""As long as a drive carries what permits it."""


class Violated(AssertionError):
    """An invariant is broken; the text says what happened."""

    def __init__(self, invariant: str, message: str, at_us: int) -> None:
        super().__init__(f"{invariant} at {at_us / 1e6:.6f} s: {message}")
        self.invariant = invariant
        self.message = message
        self.at_us = at_us

    def __reduce__(self) -> tuple[type, tuple[str, str, int]]:
        return type(self), (self.invariant, self.message, self.at_us)


class Judge:
    """All invariants over one world, as its observer. Raises Violated in the middle of what broke
    one.
    """

    def __init__(self, kinds: Sequence[type["Invariant"]], *, lanes: "Lanes | None" = None):
        self.world: World
        self.lanes = lanes
        self.network = ""
        """Profile of the links, as it is now."""
        self.broken_clock: set[str] = set()
        """Joints whose crystal or counter was broken by the scenario: they have no true clock."""
        self.hidden: set[tuple[int, str, int]] = set()
        """Session, joint and clock epoch of every break that no coordinator has found out: what it
        states by that clock may be false. A step within the play of a link contradicts nothing."""
        self.astray: set[str] = set()
        """Joints that may not know where they met their sensor: they restarted, lost steps, or were
        told wrongly by it."""
        self.false_home: set[str] = set()
        """Joints whose home sensor lied, until they homed by one that did not: where they homed may
        not be where home is."""
        self.lied_of: dict[str, set[str]] = {}
        """Hosts at which somebody said that a joint is, and where it never was."""
        self.lies_until_us: dict[str, int] = {}
        """Until when the home sensor of each joint lies, or did last."""
        self.filling = Filling()
        self.eavesdrop: Callable[[str, object], None] | None = None
        """Who hears what comes to joints pass by."""
        self._broke: dict[tuple[Laptop, str], tuple[JointClock, int]] = {}
        """What each laptop knew of a clock, and its epoch, when the scenario broke it last."""
        self._homing_us: dict[str, int] = {}
        """When joints whose sensor lied began the homing that is under way."""
        self._joint_us: dict[str, tuple[int, float]] = {}
        self._permitted: dict[str, tuple[int, JointState]] = {}
        """Plan and state of each joint when it took its last drive."""
        self._kinds = kinds
        self.invariants: list[Invariant] = []

    def begin(self, world: World) -> None:
        """The world is made; from now on everything is judged."""
        from tests.campaign.invariants.base import Invariant

        self.world = world
        self.invariants = [kind(self) for kind in self._kinds]
        self._sent = self._those("sent", Invariant)
        self._drove = self._those("drove", Invariant)
        self._permitted_anew = self._those("permitted", Invariant)
        self._forged = self._those("forged", Invariant)
        self._touched = self._those("touched", Invariant)
        self._heard = self._those("heard", Invariant)
        self._commanded = self._those("commanded", Invariant)
        self._felt = self._those("felt", Invariant)
        self._wished = self._those("wished", Invariant)
        self._handed = self._those("handed", Invariant)
        self._crashed = self._those("crashed", Invariant)
        self._slept = self._those("slept", Invariant)
        self._rebooted = self._those("rebooted", Invariant)
        self._truth = self._those("truth", Invariant)

    def joint_us(self, node: Node) -> float:
        """The joint time up to which a joint has been brought, at this instant."""
        known = self._joint_us.get(node.id)
        if known is None or known[0] != self.world.now:
            at_us = max(node.unit.joint_us(self.world.now), node.unit.joint._now)
            known = self._joint_us[node.id] = self.world.now, at_us
        return known[1]

    def clock_stepped(self, node: Node) -> None:
        """The scenario has stepped a joint's counter."""
        self._joint_us.pop(node.id, None)
        self.broken_clock.add(node.id)
        for laptop in self.world.laptops:
            link = link_of(laptop, node.id)
            self._broke[laptop, node.id] = link.clock, link.sync.clock_epoch
            self.hidden.add((laptop.core.session, link.name, link.sync.clock_epoch))

    def _find_out(self, laptop: Laptop, joint_id: str) -> None:
        """See whether a laptop has found out by now that a clock broke."""
        clock, epoch = self._broke[laptop, joint_id]
        link = link_of(laptop, joint_id)
        if link.clock is clock and link.sync.clock_epoch > epoch:
            self.hidden.discard((laptop.core.session, link.name, epoch))

    def _those(self, name: str, base: type) -> list[Callable[..., None]]:
        return [
            getattr(one, name)
            for one in self.invariants
            if getattr(type(one), name) is not getattr(base, name)
        ]

    # ---- what the world tells -----------------------------------------------------------------

    def sent(self, laptop: int, joint_id: str, drive: Drive) -> None:
        for look in self._sent:
            look(self.world.laptops[laptop], joint_id, drive)

    def drove(self, joint_id: str, laptop: int, drive: Drive, status: Status | None) -> None:
        node = self.world.nodes[joint_id]
        self._tell_truths(node)
        for look in self._drove:
            look(node, self.world.laptops[laptop], drive, status)
        if status is None or (status.plan, status.state) == self._permitted.get(node.id):
            return
        self._permitted[node.id] = status.plan, status.state
        path = node.unit.joint.path
        if status.state in MOVES_BY_DRIVES or path.pending is not None:
            for look in self._permitted_anew:
                look(node, drive)

    def carried(self, joint_id: str, way: Direction, message: object) -> None:
        if self.eavesdrop is not None and way == "forward":
            self.eavesdrop(joint_id, message)

    def forged(self, joint_id: str, what: str, *, taken: bool) -> None:
        for look in self._forged:
            look(self.world.nodes[joint_id], what, taken=taken)

    def touched(self, joint_id: str) -> None:
        if not self.invariants:
            return
        node = self.world.nodes[joint_id]
        self._tell_truths(node)
        if node.id in self.false_home:
            self._follow_homing(node)
        self.filling.look(node)
        for look in self._touched:
            look(node)
        if self.lanes is not None:
            self.lanes.touched(node)

    def _tell_truths(self, node: Node) -> None:
        for truth in node.unit.take_truth():
            self.judge_truth(node, truth)

    def judge_truth(self, node: Node, truth: WorldTruth) -> None:
        """A start, resume, hold, finish, stop or home really happened."""
        for look in self._truth:
            look(node, truth)
        if truth.event == "home" and node.id in self.false_home:
            begun_us = self._homing_us.get(node.id)
            if begun_us is not None and begun_us > self.lies_until_us[node.id]:
                self.false_home.discard(node.id)

    def sensor_lies(self, node: Node, until_us: int) -> None:
        """The scenario makes a home sensor tell what is not so."""
        self.false_home.add(node.id)
        self.astray.add(node.id)
        self.lies_until_us[node.id] = max(until_us, self.lies_until_us.get(node.id, 0))

    def _follow_homing(self, node: Node) -> None:
        if state_of(node) is JointState.HOMING:
            self._homing_us.setdefault(node.id, self.world.now)
        else:
            self._homing_us.pop(node.id, None)

    def heard(self, laptop: int, joint_id: str) -> None:
        who = self.world.laptops[laptop]
        if (who, joint_id) in self._broke:
            self._find_out(who, joint_id)
        for look in self._heard:
            look(who, joint_id)

    def commanded(self, laptop: int, command: ev.Command) -> None:
        if isinstance(command, ev.Stop) and command.level is not StopLevel.STOP:
            self.astray.update(
                self.world.nodes
            )  # drivers off: none goes by where it met its sensor
        if self.lanes is not None:
            self.lanes.commanded(laptop, command)
        for look in self._commanded:
            look(self.world.laptops[laptop], command)

    # ---- what hands tell ------------------------------------------------------------------------

    def felt(self, laptop: Laptop, touched: ev.Touched, obeyed: tuple[ev.Command, ...]) -> None:
        """A coordinator told of a touch, and those commands were carried out for it."""
        for look in self._felt:
            look(laptop, touched, obeyed)

    def wished(
        self,
        laptop: Laptop,
        feed: object,
        number: int,
        made_us: int,
        obeyed: tuple[ev.Command, ...],
    ) -> None:
        """A wish came by a feed that was made at a true time, and those were carried out for it."""
        for look in self._wished:
            look(laptop, feed, number, made_us, obeyed)

    def handed(self, laptop: Laptop, why: str, *, taken: bool) -> None:
        """Control was taken from who had it, or else who had it has gone."""
        for look in self._handed:
            look(laptop, why, taken=taken)

    # ---- and the world again --------------------------------------------------------------------

    def crashed(self, laptop: int) -> None:
        for look in self._crashed:
            look(self.world.laptops[laptop])

    def slept(self, laptop: int, slept_us: int) -> None:
        for look in self._slept:
            look(self.world.laptops[laptop], slept_us)

    def rebooted(self, joint_id: str) -> None:
        node = self.world.nodes[joint_id]
        for truth in node.unit.take_truth():
            self.judge_truth(node, truth)
        self.broken_clock.discard(node.id)
        self.astray.add(node.id)
        self._joint_us.pop(node.id, None)
        for look in self._rebooted:
            look(node)
