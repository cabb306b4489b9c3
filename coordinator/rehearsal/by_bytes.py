"""Messages as the bytes that really go over the wire: handshakes, tags, frame numbers and all.

The laptop's side is what its sockets use too (`links.peer`), the joint's is its endpoint. Much
slower than values, so only some scenarios go this way, to show that both ways tell the same.
"""

from dataclasses import dataclass, field
from random import Random

from coordinator.core import events as ev
from coordinator.links.peer import Exchanges, Handshake, SessionKeys, frame_body, reject_of_proof
from coordinator.rehearsal.carrier import Carrier
from coordinator.rehearsal.joint_node import Node
from coordinator.rehearsal.observer import Observer
from coordinator.rehearsal.schedule import Schedule
from coordinator.rehearsal.stream import JointEnd, Link, Stream
from protocol.drive import Drive
from protocol.errors import HandshakeError, WireError
from protocol.frames import FrameOpener, FrameSealer
from protocol.keys import NONCE_BYTES
from protocol.messages import Ack, Reject, Welcome, decode_opening, decode_report
from protocol.status import Status
from simulator.joint.endpoint import Reply, StreamOut


@dataclass(slots=True, eq=False)
class Session:
    """What one laptop needs for datagrams to one joint in one session, whatever streams do."""

    keys: SessionKeys
    exchanges: Exchanges = field(default_factory=Exchanges)


class ByBytes(Carrier):
    """Carries messages as bytes. `key` is the arm's."""

    def __init__(
        self, schedule: Schedule, random: Random, observer: Observer | None, key: bytes
    ) -> None:
        super().__init__(schedule, random, observer, answers_at_once=False)
        self._key = key
        self._sessions: dict[Link, Session] = {}

    def _seal(self, link: Link, drive: Drive, now: int) -> bytes | None:
        session = self._sessions[link]
        if session.keys.current is None:
            return None
        transmit = self._random.getrandbits(64)
        return session.exchanges.request(drive, transmit, now, session.keys.current)

    def _damaged(self, message: object) -> bytes:
        """Some bits of a datagram are others now."""
        assert isinstance(message, bytes)
        at = self._random.randrange(len(message))
        flipped = message[at] ^ self._random.randrange(1, 256)
        return message[:at] + bytes((flipped,)) + message[at + 1 :]

    def _take(self, node: Node, message: object) -> Reply | None:
        assert isinstance(message, bytes)
        reply = node.unit.datagram(message, self._schedule.now)
        self._say(node)
        return reply

    def _forged(self, node: Node, message: object) -> bool:
        assert isinstance(message, bytes)
        reply = node.unit.datagram(message, self._schedule.now)
        return reply is not None and reply.status is not None

    def _status(self, answer: object) -> Status:
        assert isinstance(answer, Reply)
        assert answer.status is not None
        return answer.status

    def _reply(self, node: Node, answer: object, *, at_once: bool) -> bytes:
        assert isinstance(answer, Reply)
        return node.unit.encode(answer, self._schedule.now)

    def _open(self, link: Link, message: object) -> ev.Replied | None:
        assert isinstance(message, bytes)
        keys, laptop = self._sessions[link].keys, link.laptop
        if keys.session != laptop.core.session or keys.current is None:
            return None
        exchanges = self._sessions[link].exchanges
        try:
            return exchanges.reply(link.node.id, message, laptop.now, keys.current)
        except WireError:
            return None

    def _stream(self, link: Link, action: ev.Connect) -> Stream:
        session = self._sessions.get(link)
        if session is None or session.keys.session != action.session:
            session = self._sessions[link] = Session(SessionKeys(action.session))
        return ByteStream(link, action, self._handshake(link, action), self._random, session.keys)

    def _knock(self, link: Link, action: ev.Knock) -> None:
        keys = SessionKeys(action.session)  # of which it makes no use
        ByteStream(link, action, self._handshake(link, action), self._random, keys).begin()

    def _handshake(self, link: Link, action: ev.Connect | ev.Knock) -> Handshake:
        nonce, identity = self._random.randbytes(NONCE_BYTES), link.laptop.identity
        return Handshake(self._key, link.node.id, identity, action.session, nonce)

    def _say(self, node: Node) -> None:
        _route(self._ends[node.id], node.unit.poll(self._schedule.now))


class ByteStream(Stream):
    """One stream of bytes. `random` is for the joint's nonce."""

    def __init__(
        self,
        link: Link,
        action: ev.Connect | ev.Knock,
        handshake: Handshake,
        random: Random,
        keys: SessionKeys,
    ) -> None:
        knock = action if isinstance(action, ev.Knock) else None
        super().__init__(link, action.session, action.address, knock)
        self._handshake = handshake
        self._random = random
        self._keys = keys
        self._welcome: Welcome | None = None
        self._sealer: FrameSealer | None = None
        self._opener: FrameOpener | None = None

    # ---- the joint's end ----------------------------------------------------------------------

    def _greet(self, hello: object) -> None:
        nonce, now = self._random.randbytes(NONCE_BYTES), self.link.schedule.now
        _route(self.link.end, self.link.node.unit.stream_opened(self.number, now, nonce))
        self._arrives(hello)

    def _take(self, frame: object) -> None:
        assert isinstance(frame, str | bytes)
        unit, now = self.link.node.unit, self.link.schedule.now
        _route(self.link.end, unit.stream_frame(self.number, frame, now))

    def _close(self) -> None:
        self.link.node.unit.stream_closed(self.number, self.link.schedule.now)
        self.link.node.touched()

    # ---- the laptop's end ---------------------------------------------------------------------

    def _hello(self) -> str:
        return self._handshake.hello()

    def _seal(self, content: ev.Content) -> tuple[int, bytes]:
        assert self._sealer is not None
        return self._sealer.seal(frame_body(content))

    def _read(self, frame: object) -> None:
        assert isinstance(frame, str | bytes)
        if self._welcome is None:
            self._read_welcome(self._handshake.welcome(frame))
            return
        if isinstance(frame, str):
            message = decode_opening(frame)
            if isinstance(message, Reject):
                raise reject_of_proof(message)
            raise HandshakeError("handshake-order", f"it sends {message.type!r}")
        assert self._opener is not None
        report = decode_report(self._opener.open(frame)[1])
        if self.is_up:
            if report is not None:
                self.link.laptop.handle(ev.Reported(self.link.node.id, report))
            return
        if not isinstance(report, Ack) or report.ref != 0:
            raise HandshakeError("handshake-order", "it did not acknowledge the proof")
        self._keys.settle(self._welcome)
        self.up(self._welcome)

    def _read_welcome(self, welcome: Welcome) -> None:
        if self.knock is not None:
            self.hang_up()
            knocked = ev.Knocked(self.link.node.id, self.address, welcome.boot, self.knock.begun_us)
            self.link.laptop.handle(knocked)
            return
        self._welcome = welcome
        self._keys.proposed(welcome, self._handshake.datagram_keys())
        self._sealer, self._opener = self._handshake.frame_keys()
        self.link.forward(self._arrives, self._handshake.proof())


def _route(end: JointEnd, out: StreamOut) -> None:
    """Send what a joint's endpoint says to the streams it is for, and close what it closes."""
    for number, data in out.frames:
        stream = end.streams.get(number)
        if stream is not None:
            stream.answer(data)
    for number in (*out.close, *out.going):
        stream = end.streams.get(number)
        if stream is not None:
            stream.refuse()
