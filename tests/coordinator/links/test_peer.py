"""One joint's bytes: the handshake against the joint's own endpoint, keys, replies."""

import secrets

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.links.peer import (
    HANDSHAKES_KEPT,
    REQUESTS_KEPT,
    Exchanges,
    Handshake,
    SessionKeys,
    frame_body,
    reject_of_proof,
)
from protocol.constants import US
from protocol.drive import Drive
from protocol.errors import FrameError, HandshakeError, WireError
from protocol.messages import Blink, Reject, Welcome, decode_request, encode
from protocol.points import Point, PointsFrame, decode_points
from simulator.joint.endpoint import Endpoint
from simulator.joint.joint import Joint, JointIdentity

KEY = bytes(range(32))
ID = "0a1b2c3d4e5f"
COORDINATOR = bytes(range(16))


class Bench:
    """A coordinator's side and a joint's endpoint, joined by hand. Joint time runs by itself."""

    def __init__(self, key: bytes = KEY, joint_id: str = ID) -> None:
        self.endpoint = Endpoint(Joint(JointIdentity(joint_id, "test 1", 7)), key)
        self.streams = 0
        self.now = 10.0 * US

    def hello(self, session: int = 5) -> tuple[Handshake, str]:
        """A new stream's handshake, and the welcome."""
        self.streams += 1
        self.endpoint.stream_opened(self.streams, self.now, secrets.token_bytes(32))
        handshake = Handshake(KEY, ID, COORDINATOR, session, secrets.token_bytes(32))
        return handshake, self.tell(handshake.hello())[0]

    def tell(self, frame: str | bytes) -> list[str]:
        out = self.endpoint.stream_frame(self.streams, frame, self.now)
        return [frame for _, frame in out.frames]  # type: ignore[misc]

    def shake(self, keys: SessionKeys, *, answered: bool = True) -> Welcome:
        """A whole handshake; unless `answered`, the stream breaks right after the proof."""
        handshake, welcome_text = self.hello(keys.session)
        welcome = handshake.welcome(welcome_text)
        keys.proposed(welcome, handshake.datagram_keys())
        self.tell(handshake.proof())
        if answered:
            keys.settle(welcome)
        self.endpoint.stream_closed(self.streams, self.now)
        return welcome

    def exchange(self, exchanges: Exchanges, keys: SessionKeys, sequence: int) -> bytes | None:
        """The joint's reply to a drive."""
        assert keys.current is not None
        drive = Drive(keys.session, sequence)
        data = exchanges.request(drive, 1000 + sequence, 100, keys.current)
        self.now += 1000.0
        reply = self.endpoint.datagram(data, self.now)
        return reply.encode(self.now + 3.0) if reply else None


def test_handshake_with_a_joint_gives_keys_that_both_sides_use() -> None:
    bench, keys, exchanges = Bench(), SessionKeys(5), Exchanges()
    welcome = bench.shake(keys)
    assert (welcome.id, welcome.boot, welcome.keyed) == (ID, 7, None)
    data = bench.exchange(exchanges, keys, 1)
    assert data is not None
    assert keys.current is not None
    replied = exchanges.reply(ID, data, 2_000_000, keys.current)
    assert (replied.joint_id, replied.sequence, replied.status.boot) == (ID, 1, 7)
    # T2 is rounded up, T3 down, so that the limits on the clock hold.
    exchange = replied.exchange
    assert (exchange.t1_us, exchange.t4_us) == (100, 2_000_000)
    assert 0 <= exchange.t2_us - bench.now <= 1
    assert 0 <= bench.now + 3.0 - exchange.t3_us <= 1


def test_second_stream_of_a_session_keeps_the_datagram_keys() -> None:
    bench, keys, exchanges = Bench(), SessionKeys(5), Exchanges()
    first = bench.shake(keys)
    current = keys.current
    second = bench.shake(keys)
    assert second.keyed == first.nonce
    assert keys.current == current
    assert bench.exchange(exchanges, keys, 1) is not None


def test_keys_of_a_handshake_whose_answer_was_lost_are_found_again() -> None:
    bench, keys, exchanges = Bench(), SessionKeys(5), Exchanges()
    lost = bench.shake(keys, answered=False)
    assert keys.current is None
    second = bench.shake(keys)
    assert second.keyed == lost.nonce
    assert bench.exchange(exchanges, keys, 1) is not None


def test_keys_that_are_unknown_here_are_an_error() -> None:
    bench = Bench()
    bench.shake(SessionKeys(5))
    with pytest.raises(HandshakeError) as caught:
        bench.shake(SessionKeys(5))  # a coordinator that forgot
    assert caught.value.code == "keys-unknown"


@pytest.mark.parametrize("is_first_answered", [True, False])
@pytest.mark.parametrize("is_next_answered", [True, False])
def test_keys_in_force_outlive_any_number_of_streams(
    is_first_answered: bool, is_next_answered: bool
) -> None:
    """A network with gaps, or an outsider who resets connections, ends stream after stream."""
    bench, keys, exchanges = Bench(), SessionKeys(5), Exchanges()
    first = bench.shake(keys, answered=is_first_answered)
    for _ in range(3 * HANDSHAKES_KEPT):
        assert bench.shake(keys, answered=is_next_answered).keyed == first.nonce
    bench.shake(keys)
    assert bench.exchange(exchanges, keys, 1) is not None


def test_only_a_bounded_number_of_handshakes_whose_proof_may_be_on_its_way_is_remembered() -> None:
    bench, keys = Bench(), SessionKeys(5)
    welcomes = []
    for _ in range(HANDSHAKES_KEPT + 1):
        handshake, welcome_text = bench.hello()
        welcomes.append(handshake.welcome(welcome_text))
        keys.proposed(welcomes[-1], handshake.datagram_keys())
    with pytest.raises(HandshakeError):
        keys.settle(welcomes[0])
    keys.settle(welcomes[1])


def test_joint_with_another_key_is_found_out_by_its_proof() -> None:
    handshake, welcome = Bench(key=bytes(32)).hello()
    with pytest.raises(HandshakeError) as caught:
        handshake.welcome(welcome)
    assert caught.value.code == "key-wrong"
    with pytest.raises(HandshakeError):
        handshake.proof()


def test_joint_of_another_id_is_found_out() -> None:
    handshake, welcome = Bench(joint_id="ffffffffffff").hello()
    with pytest.raises(HandshakeError, match=f"{ID} but answers as ffffffffffff") as caught:
        handshake.welcome(welcome)
    assert caught.value.code == "id-wrong"


def test_rejects_of_hello_and_proof_carry_the_joints_code() -> None:
    handshake, _ = Bench().hello()
    reject = Reject(ref=0, code="protocol-version", message="version 1 only")
    with pytest.raises(HandshakeError) as caught:
        handshake.welcome(encode(reject))
    assert caught.value.code == "protocol-version"
    assert reject_of_proof(reject).code == "protocol-version"
    assert reject_of_proof(Reject(ref=0, code="proof-wrong", message="")).code == "key-wrong"


@given(st.one_of(st.text(), st.binary()))
def test_noise_for_a_welcome_is_an_error_of_the_wire_and_nothing_else(noise: str | bytes) -> None:
    handshake = Handshake(KEY, ID, COORDINATOR, 5, bytes(32))
    with pytest.raises((FrameError, HandshakeError)):
        handshake.welcome(noise)


def test_each_request_counts_one_reply_and_noise_uses_none_up() -> None:
    bench, keys, exchanges = Bench(), SessionKeys(5), Exchanges()
    bench.shake(keys)
    data = bench.exchange(exchanges, keys, 1)
    assert data is not None
    assert keys.current is not None
    spoiled = data[:-1] + bytes([data[-1] ^ 1])
    with pytest.raises(WireError, match="tag"):
        exchanges.reply(ID, spoiled, 2_000_000, keys.current)
    exchanges.reply(ID, data, 2_000_000, keys.current)
    with pytest.raises(WireError) as caught:
        exchanges.reply(ID, data, 2_000_001, keys.current)
    assert caught.value.code == "reply-unasked"


def test_replies_may_come_in_any_order() -> None:
    bench, keys, exchanges = Bench(), SessionKeys(5), Exchanges()
    bench.shake(keys)
    assert keys.current is not None
    replies = [bench.exchange(exchanges, keys, sequence) for sequence in (1, 2, 3)]
    found = [
        exchanges.reply(ID, data, 2_000_000, keys.current).sequence
        for data in reversed(replies)
        if data is not None
    ]
    assert found == [3, 2, 1]


def test_requests_that_are_never_answered_are_forgotten() -> None:
    bench, keys, exchanges = Bench(), SessionKeys(5), Exchanges()
    bench.shake(keys)
    assert keys.current is not None
    first = bench.exchange(exchanges, keys, 1)
    for sequence in range(2, REQUESTS_KEPT + 2):
        exchanges.request(Drive(5, sequence), 1000 + sequence, 100, keys.current)
    assert first is not None
    with pytest.raises(WireError):
        exchanges.reply(ID, first, 2_000_000, keys.current)


@given(st.binary(max_size=512))
def test_noise_for_a_reply_is_an_error_of_the_wire_and_nothing_else(noise: bytes) -> None:
    keys = SessionKeys(5)
    Bench().shake(keys)
    assert keys.current is not None
    with pytest.raises(WireError):
        Exchanges().reply(ID, noise, 1, keys.current)


def test_frame_bodies_are_what_a_joint_reads() -> None:
    assert decode_request(frame_body(Blink(seconds=3))) == Blink(seconds=3)
    frame = PointsFrame(1, 0, (Point(0, 5, 0),))
    assert decode_points(frame_body(frame)) == frame
