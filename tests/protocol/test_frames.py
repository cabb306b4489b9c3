"""Stream frames and points frames: round trips, numbers that only grow, and every refusal."""

import struct
import zlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocol.constants import MAX_FRAME_BYTES, MAX_POINTS_PER_FRAME
from protocol.errors import FrameError
from protocol.frames import FrameOpener, FrameSealer
from protocol.keys import Direction
from protocol.points import Point, PointsFrame, decode_points, encode_points, frames_of
from tests.protocol.strategies import points, points_frames

KEY = bytes(range(32))
bodies = st.lists(st.binary(min_size=1, max_size=100), min_size=1, max_size=5)


@given(bodies, st.sampled_from(Direction))
def test_frames_round_trip_with_numbers_from_one(
    messages: list[bytes], direction: Direction
) -> None:
    sealer, opener = FrameSealer(KEY, direction), FrameOpener(KEY, direction)
    for expected, body in enumerate(messages, start=1):
        number, frame = sealer.seal(body)
        assert number == expected
        assert opener.open(frame) == (expected, body)


def test_old_frames_are_refused_and_a_gap_is_not() -> None:
    sealer, opener = FrameSealer(KEY, Direction.TO_JOINT), FrameOpener(KEY, Direction.TO_JOINT)
    frames = [sealer.seal(b"{}")[1] for _ in range(3)]
    opener.open(frames[0])
    opener.open(frames[2])
    for old in (frames[2], frames[1], frames[0]):
        with pytest.raises(FrameError) as caught:
            opener.open(old)
        assert caught.value.code == "frame-number"


@given(st.binary(max_size=200))
def test_arbitrary_bytes_are_no_frame(data: bytes) -> None:
    with pytest.raises(FrameError) as caught:
        FrameOpener(KEY, Direction.TO_JOINT).open(data)
    assert caught.value.code in {"frame-length", "tag-wrong"}


@given(st.binary(min_size=1, max_size=60), st.integers(0), st.integers(1, 255))
def test_any_changed_byte_of_a_frame_is_noticed(body: bytes, place: int, flip: int) -> None:
    frame = bytearray(FrameSealer(KEY, Direction.TO_JOINT).seal(body)[1])
    frame[place % len(frame)] ^= flip
    with pytest.raises(FrameError) as caught:
        FrameOpener(KEY, Direction.TO_JOINT).open(bytes(frame))
    assert caught.value.code == "tag-wrong"


def test_a_frame_sent_back_is_refused() -> None:
    _, frame = FrameSealer(KEY, Direction.TO_JOINT).seal(b"{}")
    with pytest.raises(FrameError):
        FrameOpener(KEY, Direction.TO_COORDINATOR).open(frame)


@pytest.mark.parametrize("length", [0, 1, MAX_FRAME_BYTES])
def test_empty_and_oversized_bodies_are_refused(length: int) -> None:
    _, frame = FrameSealer(KEY, Direction.TO_JOINT).seal(b"x" * length)
    opener = FrameOpener(KEY, Direction.TO_JOINT)
    if length == 1:
        assert opener.open(frame) == (1, b"x")
    else:
        with pytest.raises(FrameError) as caught:
            opener.open(frame)
        assert caught.value.code == "frame-length"


@given(points_frames)
def test_points_round_trip(frame: PointsFrame) -> None:
    body = encode_points(frame)
    assert len(body) == 12 + 24 * len(frame.points) + 4
    assert body[0] == 1
    assert decode_points(body) == frame


@given(st.binary(max_size=300))
def test_arbitrary_bytes_are_no_points_frame(data: bytes) -> None:
    with pytest.raises(FrameError):
        decode_points(data)


@given(points_frames, st.integers(0), st.integers(0, 255))
def test_mutated_points_with_a_right_crc_raise_only_documented_codes(
    frame: PointsFrame, place: int, byte: int
) -> None:
    head = bytearray(encode_points(frame)[:-4])
    head[place % len(head)] = byte
    code = "frame-field"
    try:
        decode_points(bytes(head) + struct.pack(">I", zlib.crc32(head)))
    except FrameError as error:
        code = error.code
    assert code in {"frame-field", "frame-type", "frame-length"}


@given(points_frames, st.integers(0), st.integers(1, 255))
def test_any_changed_byte_of_points_is_noticed(frame: PointsFrame, place: int, flip: int) -> None:
    body = bytearray(encode_points(frame))
    body[place % len(body)] ^= flip
    with pytest.raises(FrameError):
        decode_points(bytes(body))


@given(st.lists(points, max_size=400), st.integers(0, 1000))
def test_frames_of_splits_points_without_loss(path: list[Point], first: int) -> None:
    frames = frames_of(7, first, path)
    assert [point for frame in frames for point in frame.points] == path
    assert all(1 <= len(frame.points) <= MAX_POINTS_PER_FRAME for frame in frames)
    index = first
    for frame in frames:
        assert (frame.trajectory, frame.first_index) == (7, index)
        index += len(frame.points)


@pytest.mark.parametrize(
    "frame",
    [
        PointsFrame(1, 0, ()),
        PointsFrame(1, 0, (Point(0, 0, 0),) * (MAX_POINTS_PER_FRAME + 1)),
        PointsFrame(2**32, 0, (Point(0, 0, 0),)),
        PointsFrame(1, -1, (Point(0, 0, 0),)),
        PointsFrame(1, 0, (Point(2**63, 0, 0),)),
        PointsFrame(1, 0, (Point(0, 0, 2**31),)),
    ],
)
def test_what_does_not_fit_a_points_frame_is_a_value_error(frame: PointsFrame) -> None:
    with pytest.raises(ValueError, match=r"fit|points in a frame"):
        encode_points(frame)
