"""Firmware images: headers, frames and signatures go there and back, and nothing else passes."""

import contextlib
import struct
import zlib
from hashlib import sha256

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from hypothesis import given
from hypothesis import strategies as st

from protocol.constants import MAX_IMAGE_FRAME_BYTES
from protocol.errors import FrameError
from protocol.image import (
    HEADER_BYTES,
    MAX_IMAGE_BYTES,
    ImageFrame,
    ImageHeader,
    decode_header,
    decode_image_frame,
    encode_header,
    encode_image_frame,
    is_signed,
)
from protocol.largest import IMAGE
from tests.protocol.strategies import U8, U32
from tests.reference.rfc_vectors import ED25519

SECRET = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
PUBLIC = SECRET.public_key().public_bytes_raw()
HEADER = ImageHeader("bench-joint", "1.5.0", 3, sha256(b"abc").digest())

headers = st.builds(
    ImageHeader,
    st.text("abcdefghijklmnopqrstuvwxyz0123456789-", min_size=1, max_size=16),
    st.text([chr(k) for k in range(0x20, 0x7F)], min_size=1, max_size=32),
    st.integers(1, MAX_IMAGE_BYTES),
    st.binary(min_size=32, max_size=32),
)
frames = st.builds(ImageFrame, U32, st.binary(min_size=1, max_size=MAX_IMAGE_FRAME_BYTES))


@given(headers)
def test_headers_round_trip_in_a_hundred_bytes(header: ImageHeader) -> None:
    data = encode_header(header)
    assert len(data) == HEADER_BYTES
    assert decode_header(data) == header


@given(st.binary(min_size=HEADER_BYTES, max_size=HEADER_BYTES))
def test_arbitrary_bytes_are_no_header(data: bytes) -> None:
    with pytest.raises(FrameError) as caught:
        decode_header(data)
    assert caught.value.code == "message-invalid"


@given(st.lists(U8, min_size=4, max_size=4), headers)
def test_bytes_that_are_read_as_a_header_are_made_again_from_it(
    changes: list[int], header: ImageHeader
) -> None:
    data = bytearray(encode_header(header))
    for place in changes[:3]:
        data[place % HEADER_BYTES] ^= changes[-1]
    with contextlib.suppress(FrameError):
        assert encode_header(decode_header(bytes(data))) == data


@pytest.mark.parametrize(
    ("board", "firmware", "size_bytes", "told"),
    [
        ("", "1", 1, "a board is 1 to 16 of"),
        ("a" * 17, "1", 1, "a board is 1 to 16 of"),
        ("Bench", "1", 1, "not 'Bench'"),
        ("bench\n", "1", 1, "a board is 1 to 16 of"),
        ("bench", "", 1, "a version is 1 to 32 characters"),
        ("bench", "1" * 33, 1, "a version is 1 to 32 characters"),
        ("bench", "1\n", 1, "a version is 1 to 32 characters"),
        ("bench", "1", 0, "an image of 0 bytes"),
        ("bench", "1", MAX_IMAGE_BYTES + 1, "an image of 2147483648 bytes"),
    ],
)
def test_nobody_can_make_a_header_that_none_would_read(
    board: str, firmware: str, size_bytes: int, told: str
) -> None:
    with pytest.raises(ValueError, match=told):
        encode_header(ImageHeader(board, firmware, size_bytes, bytes(32)))


@given(frames)
def test_frames_round_trip(frame: ImageFrame) -> None:
    assert decode_image_frame(encode_image_frame(frame)) == frame


@given(frames, st.integers(0), st.integers(1, 255))
def test_any_changed_byte_of_a_frame_is_noticed(frame: ImageFrame, place: int, flip: int) -> None:
    body = bytearray(encode_image_frame(frame))
    body[place % len(body)] ^= flip
    with pytest.raises(FrameError) as caught:
        decode_image_frame(bytes(body))
    assert caught.value.code in {"frame-length", "frame-type", "frame-crc"}


@given(st.binary(max_size=200))
def test_arbitrary_bytes_are_no_frame(data: bytes) -> None:
    with pytest.raises(FrameError):
        decode_image_frame(data)


@given(frames, st.integers(0, 12))
def test_a_frame_cut_short_is_refused(frame: ImageFrame, kept: int) -> None:
    with pytest.raises(FrameError) as caught:
        decode_image_frame(encode_image_frame(frame)[:kept])
    assert caught.value.code == "frame-length"


def test_checks_of_a_frame_come_in_the_order_of_the_page() -> None:
    def code(head: bytes, data: bytes, crc: int | None = None) -> str:
        body = head + data
        end = struct.pack(">I", zlib.crc32(body) if crc is None else crc)
        with pytest.raises(FrameError) as caught:
            decode_image_frame(body + end)
        return caught.value.code

    assert code(b"\1\0\0\0\0\0\0\0", b"", 0) == "frame-length"  # fewer than one byte of it
    assert code(b"\1\0\x08\1\0\0\0\0", b"a", 0) == "frame-type"
    assert code(b"\2\1\x08\1\0\0\0\0", b"a", 0) == "frame-type"
    assert code(b"\2\0\x08\1\0\0\0\0", bytes(2049), 0) == "frame-length"
    assert code(b"\2\0\0\2\0\0\0\0", b"a", 0) == "frame-length"
    assert code(b"\2\0\0\1\0\0\0\0", b"a", 0) == "frame-crc"


@pytest.mark.parametrize("count", [0, MAX_IMAGE_FRAME_BYTES + 1])
def test_nobody_can_make_a_frame_of_more_or_fewer_bytes(count: int) -> None:
    with pytest.raises(ValueError, match=f"{count} bytes in a frame, 1 to 2048"):
        encode_image_frame(ImageFrame(0, bytes(count)))


def test_the_largest_frame_carries_as_much_as_one_may() -> None:
    assert len(decode_image_frame(encode_image_frame(IMAGE)).data) == MAX_IMAGE_FRAME_BYTES


@pytest.mark.parametrize(("secret", "public", "message", "signature"), ED25519)
def test_signatures_are_those_of_rfc_8032(
    secret: str, public: str, message: bytes, signature: str
) -> None:
    key, made = bytes.fromhex(public), bytes.fromhex(signature)
    assert Ed25519PrivateKey.from_private_bytes(bytes.fromhex(secret)).sign(message) == made
    assert is_signed(message, made, key)
    assert not is_signed(message + b"\0", made, key)
    assert not is_signed(message, made, PUBLIC)


@given(headers, st.integers(0, HEADER_BYTES + 63), st.integers(1, 255))
def test_any_changed_byte_of_header_or_signature_is_noticed(
    header: ImageHeader, place: int, flip: int
) -> None:
    data = encode_header(header)
    both = bytearray(data + SECRET.sign(data))
    assert is_signed(bytes(both[:HEADER_BYTES]), bytes(both[HEADER_BYTES:]), PUBLIC)
    both[place] ^= flip
    assert not is_signed(bytes(both[:HEADER_BYTES]), bytes(both[HEADER_BYTES:]), PUBLIC)


@given(st.binary(min_size=64, max_size=64))
def test_arbitrary_bytes_are_no_signature_and_no_reason_to_fail(signature: bytes) -> None:
    assert not is_signed(encode_header(HEADER), signature, PUBLIC)


@given(st.binary(min_size=32, max_size=32))
def test_a_signature_is_not_that_of_arbitrary_bytes(key: bytes) -> None:
    header = encode_header(HEADER)
    assert not is_signed(header, SECRET.sign(header), key)
