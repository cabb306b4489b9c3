from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocol.points import Point, PointsFrame
from protocol.segments import hermite
from simulator.joint.buffer import PointBuffer, extremes
from tests.simulator.joint.rig import PER_DEGREE, configuration, there_and_back

LIMITS = configuration()
GOOD = there_and_back(0, repeat=4)


def buffer_with(points: list[Point], capacity: int = 64) -> PointBuffer:
    buffer = PointBuffer(capacity)
    assert buffer.take(PointsFrame(5, 0, tuple(points)), LIMITS) is None
    return buffer


def changed(index: int, **changes: object) -> list[Point]:
    points = list(GOOD)
    points[index] = replace(points[index], **changes)  # type: ignore[arg-type]
    return points


@pytest.mark.parametrize(
    ("code", "points"),
    [
        ("first-point", changed(0, time_us=1)),
        ("first-point", changed(0, velocity=1)),
        ("point-order", changed(2, time_us=4_000_000)),
        ("point-order", changed(2, time_us=3_999_999)),
        ("after-last", changed(1, last=True)),
        ("last-moving", changed(4, velocity=1)),
        ("output-in-motion", changed(1, velocity=1, output_mask=1)),
        ("range", changed(1, position=170 * PER_DEGREE + 2)),
        ("segment", changed(1, time_us=1_000_000)),
        ("segment", changed(1, time_us=999)),
    ],
)
def test_bad_point_is_refused_and_leaves_the_buffer_as_it_was(
    code: str, points: list[Point]
) -> None:
    buffer = PointBuffer(64)
    refusal = buffer.take(PointsFrame(5, 0, tuple(points)), LIMITS)
    assert refusal is not None
    assert refusal.code == code
    assert (buffer.trajectory, buffer.next_index, buffer.first) == (0, 0, None)
    assert buffer.take(PointsFrame(6, 0, tuple(GOOD)), LIMITS) is None


@pytest.mark.parametrize("place", range(5))
@pytest.mark.parametrize("is_end", [False, True], ids=["more to come", "the last"])
def test_every_segment_of_a_frame_is_checked_first_and_last_too(place: int, is_end: bool) -> None:
    """Five segments: from the point before the frame to its first, and four within."""
    buffer = buffer_with([Point(0, 0, 0)])
    gaps_us = [1_000_000] * 5
    gaps_us[place] = 100_000
    # 10° there or back in 0.1 s need 6000 °/s².
    points, time_us = [], 0
    for k, gap_us in enumerate(gaps_us):
        time_us += gap_us
        away = 10 * PER_DEGREE if k % 2 == 0 else 0
        points.append(Point(time_us, away, 0, last=is_end and k == 4))
    refusal = buffer.take(PointsFrame(5, 1, tuple(points)), LIMITS)
    assert refusal is not None
    assert refusal.code == "segment"
    assert f"between {points[place].time_us - 100_000} and {points[place].time_us} µs" in (
        refusal.message
    )
    assert buffer.next_index == 1
    slow = [replace(point, time_us=(k + 1) * 1_000_000) for k, point in enumerate(points)]
    assert buffer.take(PointsFrame(5, 1, tuple(slow)), LIMITS) is None


def test_cubic_that_leaves_the_range_between_points_inside_is_refused() -> None:
    near = 169 * PER_DEGREE
    points = (Point(0, near, 0), Point(1_000_000, near, -10 * PER_DEGREE))
    limits = configuration(range_low=-near, range_high=near)
    refusal = PointBuffer(64).take(PointsFrame(5, 0, points), limits)
    assert refusal is not None
    assert refusal.code == "range"
    assert str(near) in refusal.message


def test_frames_join_without_gap_and_known_points_are_taken_silently() -> None:
    buffer = buffer_with(GOOD[:3])
    gap = buffer.take(PointsFrame(5, 4, (GOOD[4],)), LIMITS)
    partly = buffer.take(PointsFrame(5, 2, tuple(GOOD[2:])), LIMITS)
    assert gap is not None
    assert partly is not None
    assert gap.code == partly.code == "points-gap"
    assert buffer.take(PointsFrame(5, 1, tuple(GOOD[1:3])), LIMITS) is None
    assert buffer.next_index == 3
    assert buffer.take(PointsFrame(5, 3, tuple(GOOD[3:])), LIMITS) is None
    assert buffer.last == GOOD[4]
    after = buffer.take(PointsFrame(5, 5, (Point(99_000_000, 0, 0),)), LIMITS)
    assert after is not None
    assert after.code == "after-last"


def test_another_trajectory_and_trajectory_0_are_refused() -> None:
    buffer = buffer_with(GOOD)
    for trajectory, code in ((6, "trajectory-loaded"), (0, "message-invalid")):
        refusal = buffer.take(PointsFrame(trajectory, 0, tuple(GOOD)), LIMITS)
        assert refusal is not None
        assert refusal.code == code


def test_full_buffer_takes_more_once_points_behind_are_freed() -> None:
    buffer = buffer_with(GOOD[:4], capacity=4)
    frame = PointsFrame(5, 4, (GOOD[4],))
    refusal = buffer.take(frame, LIMITS)
    assert refusal is not None
    assert refusal.code == "buffer-full"
    before = buffer.at(5_000_000)
    buffer.free(4_000_000)
    assert buffer.at(5_000_000) == before
    assert buffer.take(frame, LIMITS) is None
    assert buffer.buffered_us == GOOD[4].time_us


def test_path_passes_exactly_through_its_points() -> None:
    buffer = buffer_with(GOOD)
    for point in GOOD:
        assert buffer.at(point.time_us) == (point.position, point.velocity)


@given(*[st.integers(-(10**6), 10**6)] * 4, st.integers(1_000, 10**7))
def test_extremes_hold_every_place_of_a_segment(p: int, q: int, v: int, w: int, h: int) -> None:
    a, b = Point(0, p, v), Point(h, q, w)
    low, high = extremes(a, b)
    places = [hermite(a, b, h * k / 50)[0] for k in range(51)]
    slack = 1e-6 * (1 + high - low)
    assert low - slack <= min(places)
    assert max(places) <= high + slack
