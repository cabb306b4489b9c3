"""Messages as values: no bytes, no tags, the same rules of who may say what and when."""

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from coordinator.core import events as ev
from coordinator.rehearsal.carriers import HANDSHAKE_US, NO_ANSWER_US, Happen
from coordinator.timing.exchange import Exchange
from protocol.messages import Ack, Capabilities, Reject, Welcome
from protocol.points import PointsFrame
from protocol.status import Status
from simulator.joint.body import AnyEvent
from simulator.joint.endpoint import KEPT_EVENTS

if TYPE_CHECKING:
    from coordinator.rehearsal.node import Node
    from coordinator.rehearsal.station import Station

NO_PROOF = "0" * 64
"""Values need no proofs; the bytes that carry them do."""


@dataclass(slots=True, eq=False)
class Stream:
    """One stream between a laptop and a joint."""

    carrier: "ByValue"
    node: "Node"
    session: int
    open: bool = True
    """As the laptop sees it."""
    up: bool = False
    """Whether the handshake is whole."""
    number: int = 0
    """Of the last frame sent to the joint."""


@dataclass(slots=True, eq=False)
class StreamEnd:
    """The joint's end: the stream that proved itself, and events that wait for one."""

    stream: Stream | None = None
    kept: deque[AnyEvent] = field(default_factory=lambda: deque(maxlen=KEPT_EVENTS))


class ByValue:
    """Carries one laptop's messages as values."""

    def __init__(self, station: "Station") -> None:
        self.station = station
        self.world = station.world
        self.streams: dict[str, Stream] = {}
        self.boots: dict[str, int] = {}
        """The boot that each joint's datagram keys come from; another boot has other keys."""

    # ---- datagrams ----------------------------------------------------------------------------

    def send_drive(self, action: ev.SendDrive) -> None:
        """Send a drive and tell the core when."""
        world, sent_us = self.world, self.world.now
        now = self.station.arm(sent_us)
        self.station.core.handle(ev.DriveSent(action.joint_id, action.drive.sequence, now), now)
        node = world.nodes[action.joint_id]
        for arrival in self.station.airs[action.joint_id].forward(sent_us):
            # A damaged datagram fails its tag.
            if not arrival.damaged:
                world.at(
                    arrival.at_us, self._drive_arrives, node, action, now, self.boots.get(node.id)
                )

    def _drive_arrives(
        self, node: "Node", action: ev.SendDrive, t1_us: int, boot: int | None
    ) -> None:
        if not node.alive or node.unit.joint.identity.boot != boot:
            return
        world, drive = self.world, action.drive
        joint_us, status = node.unit.drive(world.now, drive)
        events = node.unit.joint.take_events()
        if events:
            joint_says(node, events)
        if world.observer is not None:
            world.observer.drove(node, self.station, drive, status)
        node.touched()
        if status is None:
            return
        # T2 rounded up and T3 down, as a shell must, so that rounding never tightens a limit.
        received = int(-(-joint_us // 1))
        if node.slow_us:
            args = (action, t1_us, received, status)
            world.at(world.now + node.slow_us, self._reply_leaves, node, *args)
        else:
            self._reply(node, action, t1_us, received, int(joint_us // 1), status)

    def _reply_leaves(
        self, node: "Node", action: ev.SendDrive, t1_us: int, received: int, status: Status
    ) -> None:
        if node.alive and node.unit.joint.identity.boot == status.boot:
            replied = int(node.unit.joint_us(self.world.now) // 1)
            self._reply(node, action, t1_us, received, replied, status)

    def _reply(
        self,
        node: "Node",
        action: ev.SendDrive,
        t1_us: int,
        received: int,
        replied: int,
        status: Status,
    ) -> None:
        for arrival in self.station.airs[node.id].back(self.world.now):
            if not arrival.damaged:
                args = (action, t1_us, received, replied, status)
                self.world.at(arrival.at_us, self._reply_arrives, *args)

    def _reply_arrives(
        self, action: ev.SendDrive, t1_us: int, received: int, replied: int, status: Status
    ) -> None:
        station = self.station
        if not station.awake or action.drive.session != station.core.session:
            return
        exchange = Exchange(t1_us, received, replied, station.now)
        replied_event = ev.Replied(action.joint_id, action.drive.sequence, exchange, status)
        station.core.handle(replied_event, station.now)
        if self.world.observer is not None:
            self.world.observer.heard(station, action.joint_id)
        station.act()

    # ---- streams ------------------------------------------------------------------------------

    def connect(self, action: ev.Connect) -> None:
        """Open the stream to a joint, in place of any older one."""
        self.disconnect(action.joint_id)
        node = self.world.nodes[action.joint_id]
        stream = self.streams[node.id] = Stream(self, node, action.session)
        self.world.at(self.world.now + HANDSHAKE_US, self._handshake_late, stream)
        # Hello, welcome and proof: three ways, of which the last matters.
        self._forward(stream, self._hello, stream)

    def disconnect(self, joint_id: str) -> None:
        """Close a joint's stream without a word to the core."""
        stream = self.streams.pop(joint_id, None)
        if stream is not None:
            stream.open = False
            self._forward(stream, closed_at_joint, stream)

    def lost(self) -> None:
        """The process is gone: every stream of it ends."""
        for joint_id in list(self.streams):
            self.disconnect(joint_id)

    def joint_lost(self, joint_id: str) -> None:
        """A joint has lost its power: only a missing answer will show it."""
        stream = self.streams.get(joint_id)
        if stream is not None:
            message = "it answers no pings"
            self.world.at(self.world.now + NO_ANSWER_US, self._down, stream, message)

    def joint_back(self, joint_id: str) -> None:
        """A joint that is back does not know the stream and says so."""
        stream = self.streams.get(joint_id)
        if stream is not None:
            self._back(stream, self._down, stream, "its stream ended")

    def cut_off(self, joint_id: str) -> None:
        """No ping came through for too long."""
        stream = self.streams.get(joint_id)
        if stream is not None:
            self._down(stream, "it answers no pings")

    def send_frame(self, action: ev.SendFrame) -> None:
        """Send a frame on a joint's stream and tell the core its number, if there is one."""
        stream = self.streams.get(action.joint_id)
        if stream is None or not stream.up:
            return
        stream.number += 1
        now = self.station.now
        self.station.core.handle(ev.FrameSent(action.joint_id, action.token, stream.number), now)
        self._forward(stream, self._frame_arrives, stream, action, stream.number)

    def _forward(self, stream: Stream, happen: Happen, *args: object) -> None:
        now = self.world.now
        delay = self.station.airs[stream.node.id].stream_delay("forward", now)
        self.world.at(now + delay, happen, *args)

    def _back(self, stream: Stream, happen: Happen, *args: object) -> None:
        now = self.world.now
        delay = self.station.airs[stream.node.id].stream_delay("back", now)
        self.world.at(now + delay, happen, *args)

    def _handshake_late(self, stream: Stream) -> None:
        if stream.open and not stream.up:
            self._down(stream, "no handshake within 5 s", "handshake-timeout")

    def _hello(self, stream: Stream) -> None:
        self._back(stream, self._welcome, stream)

    def _welcome(self, stream: Stream) -> None:
        if not stream.open or not self.station.awake:
            return
        if stream.node.alive:
            self._forward(stream, self._proof, stream)
        else:
            self._down(stream, f"{stream.node.name} is away", "unreachable")

    def _proof(self, stream: Stream) -> None:
        node, world = stream.node, self.world
        if not node.alive or not stream.open:
            return
        joint, identity = node.unit.joint, self.station.identity
        refusal = node.unit.by_value(
            world.now, lambda joint, now: joint.session_refusal(identity, stream.session, now)
        )
        if refusal is not None:
            self._back(stream, self._down, stream, refusal.message, refusal.code)
            node.touched()
            return
        new = node.unit.by_value(
            world.now, lambda joint, now: joint.begin_session(identity, stream.session, now)
        )
        end = world.ends[node.id]
        older, end.stream = end.stream, stream
        if older is not None and older.carrier is not self:
            older.carrier.replaced(older)
        if new:
            end.kept.clear()
        trajectory, next_index = joint.loaded
        welcome = Welcome(
            id=node.id,
            firmware="world",
            boot=joint.identity.boot,
            nonce=NO_PROOF,
            proof=NO_PROOF,
            capabilities=Capabilities(
                point_capacity=joint.point_capacity, max_step_rate_hz=joint.max_step_rate_hz
            ),
            configuration=joint.configuration_digest,
            keyed=None if new else NO_PROOF,
            trajectory=trajectory,
            next_index=next_index,
        )
        self._back(stream, self._up, stream, welcome)
        joint_says(node, joint.take_events())
        node.touched()

    def replaced(self, stream: Stream) -> None:
        """Another laptop has the joint now: it closes this one's stream."""
        self._back(stream, self._down, stream, "the joint closed the stream")

    def _up(self, stream: Stream, welcome: Welcome) -> None:
        if stream.open and not stream.up:
            self.when_awake(self._now_up, stream, welcome)

    def _now_up(self, stream: Stream, welcome: Welcome) -> None:
        if stream.open and stream.session == self.station.core.session:
            stream.up = True
            self.boots[stream.node.id] = welcome.boot
            self.station.handle(ev.LinkUp(stream.node.id, welcome))

    def _down(self, stream: Stream, message: str, code: str = "stream-closed") -> None:
        if stream.open:
            stream.open = False
            self.streams.pop(stream.node.id, None)
            self._forward(stream, closed_at_joint, stream)
            down = ev.LinkDown(stream.node.id, code, message)
            self.when_awake(self.station.handle, down)

    def _frame_arrives(self, stream: Stream, action: ev.SendFrame, number: int) -> None:
        node, content = stream.node, action.content
        if not node.alive or self.world.ends[node.id].stream is not stream:
            return
        refusal = node.unit.by_value(
            self.world.now,
            lambda joint, now: (
                joint.points(content, now)
                if isinstance(content, PointsFrame)
                else joint.request(content, now)
            ),
        )
        report = (
            Ack(ref=number)
            if refusal is None
            else Reject(ref=number, code=refusal.code, message=refusal.message)
        )
        self.report(stream, report)
        joint_says(node, node.unit.joint.take_events())
        node.touched()

    def report(self, stream: Stream, report: AnyEvent | Ack | Reject) -> None:
        """The joint says something on the stream."""
        self._back(stream, self._reported, stream, report)

    def _reported(self, stream: Stream, report: AnyEvent | Ack | Reject) -> None:
        if stream.open:
            self.when_awake(self._now_reported, stream, report)

    def _now_reported(self, stream: Stream, report: AnyEvent | Ack | Reject) -> None:
        if stream.open:
            self.station.handle(ev.Reported(stream.node.id, report))

    def when_awake(self, happen: Happen, *args: object) -> None:
        """What a stream brings waits until the laptop is awake."""
        until_us = self.station.asleep_until_us
        if until_us is None:
            happen(*args)
        else:
            self.world.at(until_us + 1, happen, *args)


def closed_at_joint(stream: Stream) -> None:
    """The end of a stream has come to the joint."""
    end = stream.carrier.world.ends[stream.node.id]
    if end.stream is stream:
        end.stream = None


def joint_says(node: "Node", events: Sequence[AnyEvent]) -> None:
    """What happened in a joint goes to the stream that proved itself, or waits for one."""
    end = node.world.ends[node.id]
    end.kept.extend(events)
    if end.stream is not None:
        for event in end.kept:
            end.stream.carrier.report(end.stream, event)
        end.kept.clear()


def poll_by_value(node: "Node") -> None:
    """Bring a joint up to now."""
    joint_says(node, node.unit.by_value(node.world.now, lambda joint, _now: joint.take_events()))
