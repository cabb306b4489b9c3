"""Messages as the bytes that really go over the wire: handshakes, tags, frame numbers and all.

The laptop's side is what its sockets use too (`links.peer`), the joint's is its endpoint. Much
slower than values, so only some scenarios go this way, to show that both ways tell the same.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from coordinator.core import events as ev
from coordinator.links.peer import Exchanges, Handshake, SessionKeys, frame_body, reject_of_proof
from coordinator.rehearsal.carriers import HANDSHAKE_US, NO_ANSWER_US, Happen
from protocol.errors import HandshakeError, WireError
from protocol.frames import FrameOpener, FrameSealer
from protocol.keys import NONCE_BYTES
from protocol.messages import Ack, Reject, Welcome, decode_opening, decode_report
from simulator.joint.endpoint import Reply, StreamOut

if TYPE_CHECKING:
    from coordinator.rehearsal.node import Node
    from coordinator.rehearsal.station import Station


@dataclass(slots=True, eq=False)
class Wire:
    """One stream between a laptop and a joint."""

    carrier: "ByBytes"
    node: "Node"
    number: int
    handshake: Handshake
    session: int
    open: bool = True
    """As the laptop sees it."""
    welcome: Welcome | None = None
    sealer: FrameSealer | None = None
    opener: FrameOpener | None = None
    up: bool = False


class ByBytes:
    """Carries one laptop's messages as bytes. `key` is the arm's."""

    def __init__(self, station: "Station", key: bytes) -> None:
        self.station = station
        self.world = station.world
        self._key = key
        self._wires: dict[str, Wire] = {}
        self._keys: dict[str, SessionKeys] = {}
        self._exchanges: dict[str, Exchanges] = {}

    # ---- datagrams ----------------------------------------------------------------------------

    def send_drive(self, action: ev.SendDrive) -> None:
        """Seal and send a drive and tell the core when."""
        keys = self._keys.get(action.joint_id)
        if keys is None or keys.current is None:
            return
        world, now, drive = self.world, self.station.now, action.drive
        exchanges = self._exchanges.setdefault(action.joint_id, Exchanges())
        data = exchanges.request(drive, world.random.getrandbits(64), now, keys.current)
        self.station.core.handle(ev.DriveSent(action.joint_id, drive.sequence, now), now)
        node = world.nodes[action.joint_id]
        for arrival in self.station.airs[action.joint_id].forward(world.now):
            if arrival.damaged:
                world.at(arrival.at_us, self._damaged_arrives, node, self._damage(data))
            else:
                world.at(arrival.at_us, self._drive_arrives, node, action, data)

    def _damage(self, data: bytes) -> bytes:
        """Some bits of a datagram are others now."""
        place = self.world.random.randrange(len(data))
        flipped = data[place] ^ self.world.random.randrange(1, 256)
        return data[:place] + bytes((flipped,)) + data[place + 1 :]

    def _damaged_arrives(self, node: "Node", data: bytes) -> None:
        if not node.alive:
            return
        reply = node.unit.datagram(data, self.world.now)
        if self.world.observer is not None:
            taken = reply is not None and reply.status is not None
            self.world.observer.forged(node, "a damaged drive", taken=taken)
        node.touched()

    def _drive_arrives(self, node: "Node", action: ev.SendDrive, data: bytes) -> None:
        if not node.alive:
            return
        observer, world = self.world.observer, self.world
        reply = node.unit.datagram(data, world.now)
        if observer is not None:
            observer.carried(node, data)
            status = None if reply is None else reply.status
            observer.drove(node, self.station, action.drive, status)
        route(node, node.unit.poll(world.now))
        node.touched()
        if reply is not None:
            world.at(world.now + node.slow_us, self._reply_leaves, node, reply)

    def _reply_leaves(self, node: "Node", reply: Reply) -> None:
        if not node.alive:
            return
        data = node.unit.encode(reply, self.world.now)
        for arrival in self.station.airs[node.id].back(self.world.now):
            got = self._damage(data) if arrival.damaged else data
            self.world.at(arrival.at_us, self._reply_arrives, node, got)

    def _reply_arrives(self, node: "Node", data: bytes) -> None:
        station, keys = self.station, self._keys.get(node.id)
        if not station.awake or keys is None or keys.current is None:
            return
        try:
            replied = self._exchanges[node.id].reply(node.id, data, station.now, keys.current)
        except WireError:
            return
        station.core.handle(replied, station.now)
        if self.world.observer is not None:
            self.world.observer.heard(station, node.id)
        station.act()

    # ---- streams ------------------------------------------------------------------------------

    def connect(self, action: ev.Connect) -> None:
        """Open the stream to a joint, in place of any older one."""
        self._hang_up(action.joint_id)
        world, node = self.world, self.world.nodes[action.joint_id]
        keys = self._keys.get(node.id)
        if keys is None or keys.session != action.session:
            self._keys[node.id] = SessionKeys(action.session)
            self._exchanges[node.id] = Exchanges()
        nonce = world.random.randbytes(NONCE_BYTES)
        handshake = Handshake(self._key, node.id, self.station.identity, action.session, nonce)
        wire = Wire(self, node, next(node.wire_numbers), handshake, action.session)
        self._wires[node.id] = wire
        world.at(world.now + HANDSHAKE_US, self._handshake_late, wire)
        self._forward(wire, self._opens, wire, handshake.hello())

    def disconnect(self, joint_id: str) -> None:
        """Close a joint's stream without a word to the core, and forget its keys."""
        self._hang_up(joint_id)
        self._keys.pop(joint_id, None)

    def lost(self) -> None:
        """The process is gone: every stream of it ends."""
        for joint_id in list(self._wires):
            self.disconnect(joint_id)

    def joint_lost(self, joint_id: str) -> None:
        """A joint has lost its power: only a missing answer will show it."""
        wire = self._wires.get(joint_id)
        if wire is not None:
            wire.node.wires.clear()
            message = "it answers no pings"
            self.world.at(self.world.now + NO_ANSWER_US, self._down, wire, message)

    def joint_back(self, joint_id: str) -> None:
        """A joint that is back does not know the stream and says so."""
        wire = self._wires.get(joint_id)
        if wire is not None:
            self._back(wire, self._down, wire, "its stream ended")

    def cut_off(self, joint_id: str) -> None:
        """No ping came through for too long."""
        wire = self._wires.get(joint_id)
        if wire is not None:
            self._down(wire, "it answers no pings")

    def send_frame(self, action: ev.SendFrame) -> None:
        """Seal and send a frame and tell the core its number, if there is a stream."""
        wire = self._wires.get(action.joint_id)
        if wire is None or wire.sealer is None or not wire.up:
            return
        number, frame = wire.sealer.seal(frame_body(action.content))
        now = self.station.now
        self.station.core.handle(ev.FrameSent(action.joint_id, action.token, number), now)
        self._forward(wire, self._frame_arrives, wire, frame)

    def _forward(self, wire: Wire, happen: Happen, *args: object) -> None:
        now = self.world.now
        delay = self.station.airs[wire.node.id].stream_delay("forward", now)
        self.world.at(now + delay, happen, *args)

    def _back(self, wire: Wire, happen: Happen, *args: object) -> None:
        now = self.world.now
        delay = self.station.airs[wire.node.id].stream_delay("back", now)
        self.world.at(now + delay, happen, *args)

    def _hang_up(self, joint_id: str) -> None:
        wire = self._wires.pop(joint_id, None)
        if wire is not None:
            wire.open = False
            self._forward(wire, _closed_at_joint, wire)

    def _handshake_late(self, wire: Wire) -> None:
        if wire.open and not wire.up:
            self._down(wire, "no handshake within 5 s", "handshake-timeout")

    def _opens(self, wire: Wire, hello: str) -> None:
        node = wire.node
        if not node.alive:
            self._back(wire, self._down, wire, f"{node.name} is away", "unreachable")
            return
        node.wires[wire.number] = wire
        nonce = self.world.random.randbytes(NONCE_BYTES)
        route(node, node.unit.stream_opened(wire.number, self.world.now, nonce))
        self._frame_arrives(wire, hello)

    def _frame_arrives(self, wire: Wire, data: str | bytes) -> None:
        node = wire.node
        if node.alive and node.wires.get(wire.number) is wire:
            route(node, node.unit.stream_frame(wire.number, data, self.world.now))
            node.touched()

    def from_joint(self, wire: Wire, data: str | bytes) -> None:
        """The joint sends a frame."""
        self._back(wire, self._comes, wire, data)

    def closed_by_joint(self, wire: Wire) -> None:
        """The joint closes a stream."""
        self._back(wire, self._down, wire, "the joint closed the stream")

    def _comes(self, wire: Wire, data: str | bytes) -> None:
        """A frame has come to the laptop; while that sleeps, it waits."""
        if not wire.open:
            return
        until_us = self.station.asleep_until_us
        if until_us is not None:
            self.world.at(until_us + 1, self._comes, wire, data)
            return
        try:
            self._read(wire, data)
        except HandshakeError as error:
            self._down(wire, error.message, error.code)
        except WireError as error:
            self._down(wire, error.message)

    def _read(self, wire: Wire, data: str | bytes) -> None:
        keys = self._keys[wire.node.id]
        if wire.welcome is None:
            wire.welcome = wire.handshake.welcome(data)
            keys.proposed(wire.welcome.nonce, wire.handshake.datagram_keys())
            wire.sealer, wire.opener = wire.handshake.frame_keys()
            self._forward(wire, self._frame_arrives, wire, wire.handshake.proof())
            return
        if isinstance(data, str):
            message = decode_opening(data)
            if isinstance(message, Reject):
                raise reject_of_proof(message)
            raise HandshakeError("handshake-order", f"it sends {message.type!r}")
        assert wire.opener is not None
        report = decode_report(wire.opener.open(data)[1])
        if wire.up:
            if report is not None:
                self.station.handle(ev.Reported(wire.node.id, report))
            return
        if not isinstance(report, Ack) or report.ref != 0:
            raise HandshakeError("handshake-order", "it did not acknowledge the proof")
        keys.settle(wire.welcome)
        wire.up = True
        self.station.handle(ev.LinkUp(wire.node.id, wire.welcome))

    def _down(self, wire: Wire, message: str, code: str = "stream-closed") -> None:
        if not wire.open:
            return
        until_us = self.station.asleep_until_us
        if until_us is not None:
            self.world.at(until_us + 1, self._down, wire, message, code)
            return
        wire.open = False
        self._wires.pop(wire.node.id, None)
        self._forward(wire, _closed_at_joint, wire)
        self.station.handle(ev.LinkDown(wire.node.id, code, message))


def _closed_at_joint(wire: Wire) -> None:
    node = wire.node
    if node.wires.pop(wire.number, None) is not None and node.alive:
        node.unit.stream_closed(wire.number, node.world.now)
        node.touched()


def route(node: "Node", out: StreamOut) -> None:
    """Send what a joint's endpoint says to the streams it is for, and close what it closes."""
    for number, data in out.frames:
        wire = node.wires.get(number)
        if wire is not None:
            wire.carrier.from_joint(wire, data)
    for number in out.close:
        wire = node.wires.pop(number, None)
        if wire is not None:
            wire.carrier.closed_by_joint(wire)


def poll_by_bytes(node: "Node") -> None:
    """Bring a joint up to now."""
    route(node, node.unit.poll(node.world.now))
