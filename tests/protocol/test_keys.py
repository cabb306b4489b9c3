"""HMAC and HKDF against the published cases; proofs and keys that bind what they must."""

import hashlib
import hmac
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocol.errors import DatagramError
from protocol.keys import (
    Channel,
    Direction,
    Transcript,
    hkdf_sha256,
    proof,
    same,
    seal_datagram,
    session_key,
    tag,
    unseal_datagram,
)
from tests.reference.rfc_vectors import HKDF_SHA256, HMAC_SHA256

KEY = bytes(range(32))
TRANSCRIPT = Transcript(b"\x11" * 32, b"\x22" * 32, b"\x33" * 16, b"\x44" * 6, 5, 6)
OTHERS = [
    replace(TRANSCRIPT, coordinator_nonce=b"\x12" * 32),
    replace(TRANSCRIPT, joint_nonce=b"\x23" * 32),
    replace(TRANSCRIPT, coordinator_id=b"\x34" * 16),
    replace(TRANSCRIPT, joint_id=b"\x45" * 6),
    replace(TRANSCRIPT, boot=6),
    replace(TRANSCRIPT, session=7),
]


@pytest.mark.parametrize(("key", "data", "expected"), HMAC_SHA256)
def test_hmac_gives_the_published_values(key: bytes, data: bytes, expected: str) -> None:
    wanted = bytes.fromhex(expected)
    assert hmac.digest(key, data, "sha256")[: len(wanted)] == wanted
    # A tag is this HMAC over two bytes and the message, so a message that begins with them is
    # the published one wherever the data begins with a direction and a channel.
    whole = hmac.digest(key, bytes((Direction.TO_JOINT, Channel.STREAM)) + data, "sha256")
    assert tag(key, Direction.TO_JOINT, Channel.STREAM, data) == whole[:16]


@pytest.mark.parametrize(("ikm", "salt", "info", "okm"), HKDF_SHA256)
def test_hkdf_gives_the_published_values(ikm: bytes, salt: bytes, info: bytes, okm: str) -> None:
    assert hkdf_sha256(ikm, salt, info, len(okm) // 2).hex() == okm


def test_hkdf_gives_at_most_255_blocks() -> None:
    assert len(hkdf_sha256(KEY, b"", b"", 255 * 32)) == 8160
    with pytest.raises(ValueError, match="8160"):
        hkdf_sha256(KEY, b"", b"", 255 * 32 + 1)


def test_transcript_is_98_bytes_in_the_order_of_its_fields() -> None:
    expected = b"\x11" * 32 + b"\x22" * 32 + b"\x33" * 16 + b"\x44" * 6 + b"\0\0\0\5" + b"\0" * 7
    assert TRANSCRIPT.encode() == expected + b"\6"
    assert len(TRANSCRIPT.encode()) == 98


@pytest.mark.parametrize("other", OTHERS)
def test_proof_and_keys_change_with_everything_a_transcript_binds(other: Transcript) -> None:
    assert proof(KEY, Direction.TO_JOINT, other) != proof(KEY, Direction.TO_JOINT, TRANSCRIPT)
    for channel in Channel:
        for direction in Direction:
            first = session_key(KEY, TRANSCRIPT, channel, direction)
            assert session_key(KEY, other, channel, direction) != first


def test_a_proof_cannot_be_sent_back_as_the_other_sides() -> None:
    assert proof(KEY, Direction.TO_JOINT, TRANSCRIPT) != proof(
        KEY, Direction.TO_COORDINATOR, TRANSCRIPT
    )


def test_each_channel_and_direction_has_its_own_key_and_none_is_the_arms() -> None:
    keys = {session_key(KEY, TRANSCRIPT, c, d) for c in Channel for d in Direction}
    assert len(keys | {KEY}) == 5
    assert all(len(key) == 32 for key in keys)


def test_tag_says_which_channel_and_direction_it_is_for() -> None:
    tags = {tag(KEY, d, c, b"body") for c in Channel for d in Direction}
    assert len(tags) == 4
    assert all(len(value) == 16 for value in tags)


@given(st.binary(max_size=40), st.binary(max_size=40))
def test_same_is_equality(a: bytes, b: bytes) -> None:
    assert same(a, b) == (a == b)
    assert same(a, bytes(a))


@given(st.binary(max_size=300), st.sampled_from(Direction))
def test_datagram_seal_round_trips_and_ends_in_key_identifier_and_tag(
    head: bytes, direction: Direction
) -> None:
    sealed = seal_datagram(head, direction, KEY)
    # RFC 5905 §7.3: a MAC is a 32-bit key identifier and a 128-bit digest.
    assert sealed[: len(head)] == head
    assert sealed[len(head) : len(head) + 4] == b"\0\0\0\1"
    assert len(sealed) == len(head) + 20
    assert unseal_datagram(sealed, direction, KEY) == head


@given(st.binary(max_size=200), st.integers(0), st.integers(1, 255))
def test_any_changed_byte_is_noticed(head: bytes, place: int, flip: int) -> None:
    sealed = bytearray(seal_datagram(head, Direction.TO_JOINT, KEY))
    sealed[place % len(sealed)] ^= flip
    with pytest.raises(DatagramError):
        unseal_datagram(bytes(sealed), Direction.TO_JOINT, KEY)


def test_a_datagram_of_the_other_direction_or_key_is_refused() -> None:
    sealed = seal_datagram(b"head", Direction.TO_JOINT, KEY)
    for direction, key in [
        (Direction.TO_COORDINATOR, KEY),
        (Direction.TO_JOINT, hashlib.sha256(KEY).digest()),
    ]:
        with pytest.raises(DatagramError) as caught:
            unseal_datagram(sealed, direction, key)
        assert caught.value.code == "tag-wrong"


@given(st.binary(max_size=600))
def test_arbitrary_bytes_are_no_datagram(data: bytes) -> None:
    with pytest.raises(DatagramError):
        unseal_datagram(data, Direction.TO_JOINT, KEY)
