"""Messages as values: no bytes, no tags, the same rules of who may say what and when."""

from dataclasses import dataclass
from random import Random

from coordinator.core import events as ev
from coordinator.rehearsal.carrier import Carrier
from coordinator.rehearsal.joint_node import Node
from coordinator.rehearsal.observer import Observer
from coordinator.rehearsal.schedule import Schedule
from coordinator.rehearsal.stream import Link, Stream
from coordinator.rehearsal.value_stream import Told, ValueStream
from coordinator.timing.exchange import Exchange
from protocol.drive import Drive
from protocol.status import Status
from simulator.joint.body import AnyEvent
from simulator.joint.joint import Joint


@dataclass(slots=True, eq=False)
class Sent:
    """A drive on its way, with what its laptop and its keys make of it."""

    drive: Drive
    t1_us: int
    boot: int | None
    """Whose datagram keys it is for."""


@dataclass(slots=True, eq=False)
class Answer:
    """What answers a drive. Joint times; T2 is rounded up and T3 down, as a shell must, so that
    rounding never tightens a limit.
    """

    sent: Sent
    came_us: float
    status: Status
    replied_us: int = 0
    """T3."""


class ByValue(Carrier):
    """Carries messages as values."""

    def __init__(self, schedule: Schedule, random: Random, observer: Observer | None) -> None:
        super().__init__(schedule, random, observer, answers_at_once=True)
        self._told: dict[str, Told] = {}

    def add_joint(self, node: Node) -> None:
        """As above; it has nothing to say yet."""
        super().add_joint(node)
        self._told[node.id] = Told()

    def lost(self, node: Node) -> None:
        """As above; what waits to be said goes too."""
        super().lost(node)
        self._forget(node)

    def restarted(self, node: Node) -> None:
        """As above; what waits to be said goes too."""
        super().restarted(node)
        self._forget(node)

    def _forget(self, node: Node) -> None:
        told = self._told[node.id]
        told.stream = None
        told.kept.clear()

    def _seal(self, link: Link, drive: Drive, now: int) -> Sent:
        return Sent(drive, now, link.boot)

    def _damaged(self, message: object) -> None:
        return None

    def _take(self, node: Node, message: object) -> Answer | None:
        assert isinstance(message, Sent)
        if node.boot != message.boot:
            return None
        came_us, status = node.unit.drive(self._schedule.now, message.drive)
        events = node.unit.joint.take_events()
        if events:
            self._told[node.id].say(events)
        return None if status is None else Answer(message, came_us, status)

    def _forged(self, node: Node, message: object) -> bool:
        return False

    def _status(self, answer: object) -> Status:
        assert isinstance(answer, Answer)
        return answer.status

    def _reply(self, node: Node, answer: object, *, at_once: bool) -> Answer:
        assert isinstance(answer, Answer)
        left_us = answer.came_us if at_once else node.unit.joint_us(self._schedule.now)
        answer.replied_us = int(left_us // 1)
        return answer

    def _open(self, link: Link, message: object) -> ev.Replied | None:
        assert isinstance(message, Answer)
        drive, laptop = message.sent.drive, link.laptop
        if drive.session != laptop.core.session:
            return None
        received_us = int(-(-message.came_us // 1))
        exchange = Exchange(message.sent.t1_us, received_us, message.replied_us, laptop.now)
        return ev.Replied(link.node.id, drive.sequence, exchange, message.status)

    def _stream(self, link: Link, action: ev.Connect) -> Stream:
        return ValueStream(link, action.session, action.address, self._told[link.node.id])

    def _say(self, node: Node) -> None:
        self._told[node.id].say(node.unit.by_value(self._schedule.now, _events))

    # By values a knock is a question and its answer, without a stream.

    def _knock(self, link: Link, action: ev.Knock) -> None:
        link.forward(self._knocked, link, action)

    def _knocked(self, link: Link, action: ev.Knock) -> None:
        node, address = link.node, action.address
        boot = node.boot if node.is_at(address) else node.twins.get(address.host)
        came: ev.Event
        if boot is not None:
            came = ev.Knocked(node.id, address, boot, action.begun_us)
        elif address.host in node.liars:
            message = "it does not hold this arm's key"
            came = ev.KnockFailed(node.id, address, "key-wrong", message)
        else:
            message = f"nobody answers at {address}"
            came = ev.KnockFailed(node.id, address, "unreachable", message)
        link.back(self._knock_answered, link, came)

    def _knock_answered(self, link: Link, came: ev.Event) -> None:
        until_us = link.laptop.asleep_until_us
        if until_us is None:
            link.laptop.handle(came)
        else:
            self._schedule.at(until_us + 1, link.laptop.handle, came)


def _events(joint: Joint, _now: float) -> list[AnyEvent]:
    return joint.take_events()
