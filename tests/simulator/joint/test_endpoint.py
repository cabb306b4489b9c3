"""The bytes of a joint: handshake, tags, numbers, replies; and that noise does nothing."""

import hashlib
import itertools
import json
from collections.abc import Callable
from dataclasses import dataclass, field

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocol import messages, ntp
from protocol.constants import HANDSHAKE_TIMEOUT_US, MAX_OPENING_BYTES
from protocol.drive import Drive, StopLevel, encode_drive
from protocol.frames import FrameOpener, FrameSealer
from protocol.keys import Channel, Direction, Transcript, proof, session_key
from protocol.messages import Ack, Configure, Discard, Faulted, Hello, Proof, Reject, Welcome
from protocol.points import PointsFrame, encode_points
from protocol.status import Fault, Status, decode_status
from simulator.joint.endpoint import KEPT_EVENTS, MAX_UNPROVEN, Endpoint, StreamOut
from simulator.joint.joint import Joint
from tests.simulator.joint.rig import IDENTITY, configuration, there_and_back

KEY = bytes(range(32))
COORDINATOR = bytes(range(16))


def make_nonce(number: int) -> bytes:
    return number.to_bytes(32)


@dataclass
class Peer:
    """A coordinator's side of one joint, honest unless told otherwise."""

    endpoint: Endpoint = field(default_factory=lambda: Endpoint(Joint(IDENTITY), KEY))
    session: int = 7
    coordinator: bytes = COORDINATOR
    key: bytes = KEY
    now: float = 1_000_000.0
    stream: int = 0
    sequence: int = 0
    transcript: Transcript | None = None
    keyed: Transcript | None = None
    address: str = ""

    def hello(self, stream: int, **changes: object) -> StreamOut:
        self.endpoint.stream_opened(stream, self.now, make_nonce(1_000 + stream), self.address)
        fields = {
            "protocol": 1,
            "coordinator": self.coordinator.hex(),
            "session": self.session.to_bytes(8).hex(),
            "nonce": make_nonce(stream).hex(),
        }
        hello = Hello.model_validate(fields | changes)
        return self.endpoint.stream_frame(stream, messages.encode(hello).decode(), self.now)

    def prove(self, stream: int, welcome: Welcome) -> StreamOut:
        self.transcript = Transcript(
            make_nonce(stream), bytes.fromhex(welcome.nonce), self.coordinator,
            bytes.fromhex(welcome.id), welcome.boot, self.session,
        )  # fmt: skip
        message = Proof(proof=proof(self.key, Direction.TO_JOINT, self.transcript).hex())
        return self.endpoint.stream_frame(stream, messages.encode(message).decode(), self.now)

    def connect(self, stream: int, welcome: Welcome | None = None) -> StreamOut:
        """Hello, welcome, proof; what the joint sent after the proof."""
        if welcome is None:
            welcome = welcomed(self.hello(stream))
        out = self.prove(stream, welcome)
        assert self.transcript is not None
        if welcome.keyed is None:
            self.keyed = self.transcript
        self.stream = stream
        self.sealer = FrameSealer(
            self._key(self.transcript, Channel.STREAM, Direction.TO_JOINT), Direction.TO_JOINT
        )
        self.opener = FrameOpener(
            self._key(self.transcript, Channel.STREAM, Direction.TO_COORDINATOR),
            Direction.TO_COORDINATOR,
        )
        return out

    def _key(self, transcript: Transcript, channel: Channel, direction: Direction) -> bytes:
        return session_key(self.key, transcript, channel, direction)

    def send(self, body: bytes) -> list[object]:
        """Send a body on the proven stream; the reports that come back."""
        _, frame = self.sealer.seal(body)
        return self.reports(self.endpoint.stream_frame(self.stream, frame, self.now))

    def reports(self, out: StreamOut) -> list[object]:
        found: list[object] = []
        for stream, frame in out.frames:
            assert stream == self.stream
            assert isinstance(frame, bytes)
            found.append(messages.decode_report(self.opener.open(frame)[1]))
        return found

    def request(self, message: object) -> list[object]:
        return self.send(messages.encode(message))  # type: ignore[arg-type]

    def datagram(self, **fields: object) -> bytes:
        assert self.keyed is not None
        self.sequence += 1
        drive = Drive(self.session, self.sequence, **fields)  # type: ignore[arg-type]
        return encode_drive(
            drive, self.sequence, self._key(self.keyed, Channel.DATAGRAM, Direction.TO_JOINT)
        )

    def exchange(self, **fields: object) -> Status | None:
        reply = self.endpoint.datagram(self.datagram(**fields), self.now)
        if reply is None:
            return None
        assert self.keyed is not None
        key = self._key(self.keyed, Channel.DATAGRAM, Direction.TO_COORDINATOR)
        packet, status = decode_status(reply.encode(self.now + 40.0), key)
        assert packet.origin == self.sequence
        assert ntp.joint_time_us(packet.receive) == pytest.approx(self.now, abs=1e-3)
        assert ntp.joint_time_us(packet.transmit) == pytest.approx(self.now + 40.0, abs=1e-3)
        return status


def opened(out: StreamOut) -> object:
    [(_, frame)] = out.frames
    return messages.decode_opening(frame)


def welcomed(out: StreamOut) -> Welcome:
    message = opened(out)
    assert isinstance(message, Welcome)
    return message


def connected() -> Peer:
    peer = Peer()
    assert peer.reports(peer.connect(1)) == [Ack(ref=0)]
    return peer


def code_of(out: StreamOut) -> str:
    reject = opened(out)
    assert isinstance(reject, Reject)
    assert reject.ref == 0
    assert out.close
    return reject.code


# Handshake


def test_handshake_proves_both_sides_and_opens_both_channels() -> None:
    peer = Peer()
    welcome = welcomed(peer.hello(1))
    transcript = Transcript(
        make_nonce(1), make_nonce(1_001), COORDINATOR, bytes.fromhex(IDENTITY.id), IDENTITY.boot, 7
    )
    assert welcome.proof == proof(KEY, Direction.TO_COORDINATOR, transcript).hex()
    assert (welcome.boot, welcome.firmware, welcome.keyed) == (99, "test 1", None)
    assert peer.endpoint.datagram(b"\0" * 212, peer.now) is None
    peer = connected()
    status = peer.exchange()
    assert status is not None
    assert status.sequence == 1
    assert peer.request(Configure(configuration=configuration())) == [Ack(ref=1)]
    assert peer.request(Discard()) == [Ack(ref=2)]


@pytest.mark.parametrize(
    ("code", "act"),
    [
        ("protocol-version", lambda peer: peer.hello(1, protocol=2)),
        (
            "proof-wrong",
            lambda peer: Peer(peer.endpoint, key=bytes(32)).prove(1, welcomed(peer.hello(1))),
        ),
        (
            "handshake-order",
            lambda peer: (
                peer.endpoint.stream_opened(1, peer.now, bytes(32)),
                peer.endpoint.stream_frame(1, '{"type":"proof","proof":"' + "0" * 64 + '"}', 0.0),
            )[1],
        ),
        ("handshake-order", lambda peer: (peer.hello(1), peer.endpoint.stream_frame(
            1, messages.encode(Hello(protocol=1, coordinator="0" * 32, session="0" * 16,
                                     nonce="0" * 64)).decode(), peer.now))[1]),
        (
            "message-invalid",
            lambda peer: (
                peer.endpoint.stream_opened(1, peer.now, bytes(32)),
                peer.endpoint.stream_frame(1, "no json", peer.now),
            )[1],
        ),
    ],
)  # fmt: skip
def test_handshake_that_is_wrong_is_rejected_and_closed(
    code: str, act: Callable[[Peer], StreamOut]
) -> None:
    peer = Peer()
    assert code_of(act(peer)) == code
    assert peer.endpoint.joint.session is None
    assert peer.endpoint.stream_frame(1, b"\0" * 40, peer.now).close == (1,)


def test_handshake_is_given_five_seconds() -> None:
    peer = Peer()
    peer.hello(1)
    due_us = peer.endpoint.next_deadline()
    assert due_us == peer.now + HANDSHAKE_TIMEOUT_US
    assert peer.endpoint.poll(due_us - 1) == StreamOut()
    assert code_of(peer.endpoint.poll(due_us)) == "handshake-timeout"
    assert peer.endpoint.next_deadline() is None


def test_proof_that_comes_late_is_worth_nothing_even_before_poll() -> None:
    peer = Peer()
    welcome = welcomed(peer.hello(1))
    peer.now += HANDSHAKE_TIMEOUT_US
    assert code_of(peer.prove(1, welcome)) == "handshake-timeout"


def test_strangers_that_say_nothing_make_room_for_one_more() -> None:
    peer = Peer()
    closed = [
        peer.endpoint.stream_opened(stream, peer.now, bytes(32)).close
        for stream in range(MAX_UNPROVEN + 2)
    ]
    assert closed == [()] * MAX_UNPROVEN + [(0,), (1,)]


def test_strangers_never_push_out_a_stream_that_proved_itself() -> None:
    peer = connected()
    for stream in range(2, 12):
        assert peer.stream not in peer.endpoint.stream_opened(stream, peer.now, bytes(32)).close
    assert peer.request(Discard()) == [Ack(ref=1)]


def test_stranger_who_connects_again_and_again_pushes_out_himself_and_not_the_coordinator() -> None:
    peer = Peer(address="coordinator")
    strangers = itertools.count(100)

    def again() -> None:
        for _ in range(5):
            peer.endpoint.stream_opened(next(strangers), peer.now, bytes(32), "stranger")

    again()
    welcome = welcomed(peer.hello(1))
    again()
    assert peer.reports(peer.connect(1, welcome)) == [Ack(ref=0)]


def test_welcome_tells_the_port_for_datagrams_and_what_was_configured() -> None:
    peer = Peer(Endpoint(Joint(IDENTITY), KEY, udp_port=4_711))
    welcome = welcomed(peer.hello(1))
    assert (welcome.udp, welcome.configuration) == (4_711, None)
    peer.connect(2)
    # As no coordinator of ours would write it: the bytes that came count.
    body = json.dumps({"configuration": configuration().model_dump(), "type": "configure"}).encode()
    assert peer.send(body) == [Ack(ref=1)]
    digest = hashlib.sha256(body).hexdigest()
    assert digest != Configure(configuration=configuration()).digest()
    assert welcomed(peer.hello(3)).configuration == digest
    wrong = body.replace(b"elbow", b"e l b")
    assert isinstance(peer.send(wrong)[0], Reject)
    assert welcomed(peer.hello(4)).configuration == digest


def test_binary_frame_before_the_proof_is_out_of_order_whatever_is_in_it() -> None:
    peer = Peer()
    hello = messages.encode(
        Hello(protocol=1, coordinator="0" * 32, session="0" * 16, nonce="0" * 64)
    )
    for stream in (1, 2):
        peer.endpoint.stream_opened(stream, peer.now, bytes(32))
        if stream == 2:
            peer.endpoint.stream_frame(stream, hello.decode(), peer.now)
        assert code_of(peer.endpoint.stream_frame(stream, hello, peer.now)) == "handshake-order"


@pytest.mark.parametrize("wide", ["a", "ä"])
def test_opening_beyond_its_bytes_ends_the_stream_unread(wide: str) -> None:
    peer = Peer()
    peer.endpoint.stream_opened(1, peer.now, bytes(32))
    long = wide * (MAX_OPENING_BYTES // len(wide.encode()) + 1)
    assert peer.endpoint.stream_frame(1, long, peer.now) == StreamOut(close=(1,))
    peer.endpoint.stream_opened(2, peer.now, bytes(32))
    assert code_of(peer.endpoint.stream_frame(2, long[1:], peer.now)) == "message-invalid"


def test_sentence_that_quotes_its_sender_is_cut_to_what_a_reject_may_have() -> None:
    peer = connected()
    [reject] = peer.send(b'{"type":"discard","' + b"x" * 3_000 + b'":1}')
    assert isinstance(reject, Reject)
    assert (reject.code, len(reject.message)) == ("message-invalid", messages.MAX_SENTENCE)


def test_new_stream_of_the_same_session_replaces_the_old_and_keeps_datagram_keys() -> None:
    peer = connected()
    first = peer.keyed
    assert first is not None
    welcome = welcomed(peer.hello(2))
    assert welcome.keyed == first.joint_nonce.hex()
    out = peer.connect(3)
    assert out.close == (1,)
    assert peer.keyed is first
    status = peer.exchange()
    assert status is not None
    assert status.sequence == 1
    assert peer.request(Discard()) == [Ack(ref=1)]


def test_two_handshakes_at_once_never_leave_the_sides_with_different_keys() -> None:
    """Both hellos named a session not in force; only the first proof can make its keys."""
    peer = Peer()
    welcomes = [welcomed(peer.hello(stream)) for stream in (1, 2)]
    assert len(peer.prove(1, welcomes[0]).frames) == 1
    assert code_of(peer.prove(2, welcomes[1])) == "handshake-order"


def test_other_coordinator_is_refused_while_the_first_is_heard() -> None:
    peer = connected()
    other = Peer(peer.endpoint, session=8, coordinator=bytes(16))
    other.now = peer.now + 1_000_000.0
    welcome = welcomed(other.hello(2))
    assert code_of(other.prove(2, welcome)) == "foreign"
    assert peer.exchange() is not None
    other.now += 5_000_000.0
    assert other.reports(other.connect(3)) == [Ack(ref=0)]
    peer.now = other.now
    assert peer.exchange() is None


def test_new_session_cannot_be_driven_with_the_old_keys_or_sequence() -> None:
    peer = connected()
    old = peer.datagram(stop=StopLevel.RELEASE)
    peer.session = 8
    peer.connect(2)
    assert peer.endpoint.datagram(old, peer.now) is None
    peer.sequence = 0
    status = peer.exchange()
    assert status is not None
    assert (status.sequence, status.stop) == (1, StopLevel.NONE)


@pytest.mark.parametrize("level", [StopLevel.STOP, StopLevel.STOP_AND_RELEASE, StopLevel.RELEASE])
@pytest.mark.parametrize("whose", ["its own", "another"])
def test_latched_stop_outlives_every_new_session_until_it_is_cleared(
    level: StopLevel, whose: str
) -> None:
    peer = connected()
    assert peer.exchange(stop=level) is not None
    peer.now += 6_000_000.0
    coordinator = COORDINATOR if whose == "its own" else bytes(16)
    newer = Peer(peer.endpoint, session=8, coordinator=coordinator, now=peer.now)
    assert newer.reports(newer.connect(2)) == [Ack(ref=0)]
    for energise in (False, True):
        status = newer.exchange(energise=energise)
        assert status is not None
        assert status.stop is level
        assert not status.energised or level is StopLevel.STOP
    assert newer.request(messages.Clear()) == [Ack(ref=1)]
    status = newer.exchange()
    assert status is not None
    assert status.stop is StopLevel.NONE


# Stream


def test_bad_bodies_are_rejected_by_code_and_the_stream_goes_on() -> None:
    peer = connected()
    good = encode_points(PointsFrame(5, 0, tuple(there_and_back(0))))
    for ref, (body, code) in enumerate(
        [
            (b"{}", "message-unknown"),
            (b'{"type":"dance"}', "message-unknown"),
            (b'{"type":"discard","more":1}', "message-invalid"),
            (b"\x02xyz", "message-invalid"),
            (good[:-1], "frame-length"),
            (good[:-1] + bytes((good[-1] ^ 1,)), "frame-crc"),
            (good, "not-configured"),
        ],
        start=1,
    ):
        [reject] = peer.send(body)
        assert isinstance(reject, Reject)
        assert (reject.ref, reject.code) == (ref, code)
    assert peer.request(Discard()) == [Ack(ref=8)]


@pytest.mark.parametrize("how", ["tag", "replay", "text", "short"])
def test_false_frame_ends_the_stream_without_a_word(how: str) -> None:
    peer = connected()
    _, frame = peer.sealer.seal(messages.encode(Discard()))
    data: str | bytes = frame
    if how == "tag":
        data = frame[:-1] + bytes((frame[-1] ^ 1,))
    elif how == "replay":
        peer.endpoint.stream_frame(1, frame, peer.now)
    elif how == "text":
        data = '{"type":"discard"}'
    else:
        data = frame[:20]
    assert peer.endpoint.stream_frame(1, data, peer.now) == StreamOut(close=(1,))
    assert peer.endpoint.stream_frame(1, frame, peer.now) == StreamOut(close=(1,))
    assert peer.exchange() is not None


def test_frames_of_one_stream_are_not_taken_on_another() -> None:
    peer = connected()
    _, frame = peer.sealer.seal(messages.encode(Discard()))
    peer.connect(2)
    assert peer.endpoint.stream_frame(2, frame, peer.now).close == (2,)


def test_events_go_out_once_and_wait_for_a_stream_of_the_same_session() -> None:
    peer = connected()
    peer.request(Configure(configuration=configuration()))
    peer.endpoint.joint.fault(Fault.DRIVER, peer.now)
    [event] = peer.reports(StreamOut(tuple(peer.endpoint.outgoing())))
    assert isinstance(event, Faulted)
    assert peer.endpoint.outgoing() == []
    peer.endpoint.stream_closed(1, peer.now)
    peer.endpoint.joint.fault(Fault.SUPPLY_LOW, peer.now)
    assert peer.endpoint.outgoing() == []
    ack, event = peer.reports(peer.connect(2))
    assert ack == Ack(ref=0)
    assert isinstance(event, Faulted)
    assert event.fault == "supply-low"
    peer.endpoint.stream_closed(2, peer.now)
    peer.endpoint.joint.fault(Fault.STEPS_LOST, peer.now)
    peer.session = 9
    assert peer.reports(peer.connect(3)) == [Ack(ref=0)]


def test_oldest_events_go_first_when_nobody_takes_them() -> None:
    peer = connected()
    peer.request(Configure(configuration=configuration()))
    peer.endpoint.stream_closed(1, peer.now)
    for k in range(KEPT_EVENTS + 3):
        peer.endpoint.joint.fault(Fault.DRIVER, peer.now + k)
        peer.endpoint.joint.request(messages.Clear(), peer.now + k)
        peer.endpoint.outgoing()
    peer.now += 100.0
    _, *events = peer.reports(peer.connect(2))
    assert [event.at_us for event in events if isinstance(event, Faulted)] == [
        1_000_000 + k for k in range(3, KEPT_EVENTS + 3)
    ]


# Datagrams


def test_any_ntp_client_gets_a_bare_reply() -> None:
    """RFC 5905 §7.3: mode 4, the client's version, its transmit time as origin, stratum 1 to 15."""
    endpoint = Endpoint(Joint(IDENTITY), KEY)
    for version in (1, 2, 3, 4):
        request = bytes((version << 3 | 3,)) + bytes(39) + (12345).to_bytes(8)
        reply = endpoint.datagram(request, 2_000_000.0)
        assert reply is not None
        data = reply.encode(2_000_010.0)
        assert len(data) == 48
        assert data[0] == version << 3 | 4
        assert 1 <= data[1] <= 15
        packet = ntp.decode_packet(data)
        assert packet.origin == 12345
        assert packet.transmit > packet.receive > 0
    for first in (0x24, 0x00, 0x03, 0x2B, 0x18):
        assert endpoint.datagram(bytes((first,)) + bytes(47), 0.0) is None


def test_duplicate_and_reordered_datagrams_get_no_answer_and_do_nothing() -> None:
    peer = connected()
    first = peer.datagram(stop=StopLevel.RELEASE)
    second = peer.datagram()
    assert peer.endpoint.datagram(second, peer.now) is not None
    assert peer.endpoint.datagram(second, peer.now) is None
    assert peer.endpoint.datagram(first, peer.now) is None
    assert peer.endpoint.joint.status(peer.now).stop is StopLevel.NONE


@given(st.binary(max_size=400))
def test_arbitrary_datagrams_are_harmless(data: bytes) -> None:
    peer = connected()
    before = peer.endpoint.joint.status(peer.now)
    reply = peer.endpoint.datagram(data, peer.now)
    assert reply is None or (len(data) == 48 and len(reply.encode(peer.now)) == 48)
    assert peer.endpoint.joint.status(peer.now) == before


@given(st.data())
def test_a_changed_datagram_does_nothing(data: st.DataObject) -> None:
    peer = connected()
    good = bytearray(peer.datagram(energise=True, stop=StopLevel.STOP))
    at = data.draw(st.integers(0, len(good) - 1))
    good[at] ^= data.draw(st.integers(1, 255))
    cut = data.draw(st.sampled_from([len(good), len(good) - 1, 50]))
    before = peer.endpoint.joint.status(peer.now)
    assert peer.endpoint.datagram(bytes(good[:cut]), peer.now) is None
    assert peer.endpoint.joint.status(peer.now) == before


noise = st.one_of(st.binary(max_size=200), st.text(max_size=100))


@given(st.lists(st.tuples(st.integers(1, 6), noise), max_size=12))
def test_noise_on_any_stream_never_raises_nor_changes_the_joint(
    frames: list[tuple[int, str | bytes]],
) -> None:
    peer = connected()
    before = peer.endpoint.joint.status(peer.now)
    for stream in range(2, 5):
        peer.endpoint.stream_opened(stream, peer.now, bytes(32))
    for stream, data in frames:
        peer.endpoint.stream_frame(stream, data, peer.now)
    assert peer.endpoint.joint.status(peer.now) == before
    assert peer.exchange() is not None


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=9),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=9), inner),
    max_leaves=6,
)


@given(st.data())
def test_a_request_with_anything_in_it_is_answered_once(data: st.DataObject) -> None:
    """Also from a peer that has the key: bugs there must not stop a joint."""
    peer = connected()
    message = json.loads(messages.encode(Configure(configuration=configuration())))
    place = message
    while isinstance(place, dict) and data.draw(st.booleans()):
        key = data.draw(st.sampled_from(sorted(place)))
        if not isinstance(place[key], dict):
            place[key] = data.draw(json_values)
            break
        place = place[key]
    [answer] = peer.send(json.dumps(message).encode())
    assert isinstance(answer, Ack | Reject)


@given(st.binary(min_size=1, max_size=200))
def test_a_body_of_any_bytes_is_answered_once(body: bytes) -> None:
    peer = connected()
    for head in (b"", b"\x01\x00", b"{"):
        [answer] = peer.send(head + body)
        assert isinstance(answer, Reject)


@given(st.permutations(range(6)), st.sets(st.integers(0, 5)))
def test_of_reordered_and_repeated_drives_only_growing_ones_are_taken(
    order: list[int], again: set[int]
) -> None:
    peer = connected()
    datagrams = [peer.datagram() for _ in range(6)]
    newest = -1
    for k in itertools.chain(order, again):
        reply = peer.endpoint.datagram(datagrams[k], peer.now)
        assert (reply is not None) == (k > newest)
        newest = max(newest, k)
