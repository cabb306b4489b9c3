"""The segment check keeps every limit, and refuses nothing that rounding alone made."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocol.constants import ACCELERATION_SHARE, US
from protocol.points import Point
from protocol.segments import MIN_SPACING_US, check_segment, hermite, peaks, rounding_allowance

COUNTS = st.integers(-(2**40), 2**40)
SPEEDS = st.integers(-(2**30), 2**30)
SPACINGS = st.integers(MIN_SPACING_US, 10_000_000)
segments = st.builds(
    lambda t, h, p, rise, va, vb: (Point(t, p, va), Point(t + h, p + rise, vb)),
    st.integers(0, 2**40),
    SPACINGS,
    COUNTS,
    st.integers(-(2**34), 2**34),
    SPEEDS,
    SPEEDS,
)


# Computed from the cubic's own formula: 0→10 in 1 s: q(.25) 1.5625, q(.5) 5, v(.5) 15; v0 4, v1 8:
# q(.25, .5, .75) = 1.75, 4.5, 7.5. Scaled by 1000, so that the points are whole counts.
@pytest.mark.parametrize(
    ("va", "vb", "at_s", "position"),
    [
        (0, 0, 0.25, 1562.5),
        (0, 0, 0.5, 5000.0),
        (4000, 8000, 0.25, 1750.0),
        (4000, 8000, 0.5, 4500.0),
        (4000, 8000, 0.75, 7500.0),
    ],
)
def test_hermite_gives_the_computed_positions(
    va: int, vb: int, at_s: float, position: float
) -> None:
    found, _, _ = hermite(Point(0, 0, va), Point(US, 10_000, vb), at_s * US)
    assert found == pytest.approx(position, rel=1e-12)


def test_hermite_gives_the_computed_velocity() -> None:
    _, velocity, _ = hermite(Point(0, 0, 0), Point(US, 10_000, 0), 0.5 * US)
    assert velocity == pytest.approx(15_000.0, rel=1e-12)


# Error of cubic Hermite ≤ h⁴/384·max|q⁗|: for 30°·sin(πt), h 0.1 s, the bound is 7.610e-4° and
# the largest error 7.504e-4° (computed apart from this code).
def test_hermite_error_on_a_sine_is_the_computed_one() -> None:
    scale = 1e9

    def point(time_us: int) -> Point:
        t = time_us / US
        return Point(
            time_us,
            round(scale * 30.0 * math.sin(math.pi * t)),
            round(scale * 30.0 * math.pi * math.cos(math.pi * t)),
        )

    worst = max(
        abs(hermite(point(a), point(a + 100_000), a + d)[0] / scale - 30.0 * math.sin(x))
        for a in range(0, US, 100_000)
        for d in range(0, 100_001, 2_500)
        for x in [math.pi * (a + d) / US]
    )
    assert worst == pytest.approx(7.504e-4, rel=1e-3)
    assert worst <= 7.610e-4


@given(segments, st.floats(0.0, 1.0))
def test_nothing_within_a_segment_passes_its_peaks(pair: tuple[Point, Point], part: float) -> None:
    a, b = pair
    _, velocity, acceleration = hermite(a, b, a.time_us + part * (b.time_us - a.time_us))
    fastest, hardest = peaks(a, b)
    assert abs(velocity) <= fastest * (1 + 1e-6) + 1e-3
    assert abs(acceleration) <= hardest * (1 + 1e-6) + 1e-3


@given(segments)
def test_peaks_are_reached_somewhere(pair: tuple[Point, Point]) -> None:
    a, b = pair
    steps = 500
    values = [
        hermite(a, b, a.time_us + (b.time_us - a.time_us) * k / steps) for k in range(steps + 1)
    ]
    fastest, hardest = peaks(a, b)
    assert max(abs(v) for _, v, _ in values) >= fastest * (1 - 1e-3) - 1.0
    assert max(abs(acc) for _, _, acc in values) >= hardest * (1 - 1e-6) - 1.0


@given(
    spacing_us=st.integers(MIN_SPACING_US, 200_000),
    velocity_limit=st.integers(10_000, 5_000_000),
    acceleration_limit=st.integers(10_000, 10_000_000),
    start=st.floats(-1.0, 1.0),
    share=st.floats(-1.0, 1.0),
    position=st.floats(-1e6, 1e6),
)
def test_rounding_of_a_lawful_cubic_is_never_refused(
    spacing_us: int,
    velocity_limit: int,
    acceleration_limit: int,
    start: float,
    share: float,
    position: float,
) -> None:
    h = spacing_us / US
    acceleration = share * ACCELERATION_SHARE * acceleration_limit
    va = start * velocity_limit
    vb = va + acceleration * h
    if abs(vb) > velocity_limit:
        return
    a = Point(0, round(position), round(va))
    b = Point(spacing_us, round(position + 0.5 * (va + vb) * h), round(vb))
    assert check_segment(a, b, velocity_limit, acceleration_limit) is None


def test_segment_at_exactly_the_limits_passes_and_just_beyond_allowance_fails() -> None:
    # Rest to 80,000 counts/s in 1 s at 0.8 × 100,000 counts/s².
    a, b = Point(0, 0, 0), Point(US, 40_000, 80_000)
    assert check_segment(a, b, 80_000, 100_000) is None
    assert "velocity reaches 80000" in (check_segment(a, b, 79_998, 100_000) or "")
    assert "acceleration" in (check_segment(a, b, 80_000, 99_980) or "")


def test_points_closer_than_a_millisecond_are_refused() -> None:
    refused = check_segment(Point(0, 0, 0), Point(MIN_SPACING_US - 1, 0, 0), 1e6, 1e6)
    assert refused == "points at 0 and 999 µs are closer than 1000 µs"


@given(
    spacing_us=st.integers(MIN_SPACING_US, 100_000),
    limit=st.integers(100_000, 10_000_000),
    va=st.integers(-1_000_000, 1_000_000),
    excess=st.integers(1, 10_000),
    sign=st.sampled_from((-1, 1)),
)
def test_close_points_cannot_pass_off_steady_acceleration_as_rounding(
    spacing_us: int, limit: int, va: int, excess: int, sign: int
) -> None:
    """What velocities gain over a segment is known to 1 count/s, however close the points are."""
    h = spacing_us / US
    vb = va + sign * (8 * limit * spacing_us // (10 * US) + 1 + excess)  # 0.8·limit·h, exactly
    a, b = Point(0, 0, va), Point(spacing_us, round((va + vb) / 2 * h), vb)
    assert "acceleration" in (check_segment(a, b, 1e8, limit) or "")


@given(spacing_us=st.integers(MIN_SPACING_US, 100_000), limit=st.integers(100_000, 10_000_000))
def test_close_points_cannot_pass_off_steady_velocity_as_rounding(
    spacing_us: int, limit: int
) -> None:
    v = limit + 2
    a, b = Point(0, 0, v), Point(spacing_us, round(v * spacing_us / US), v)
    assert "velocity" in (check_segment(a, b, limit, 1e9) or "")


def test_rounding_allowance_is_as_documented() -> None:
    # 10 ms apart: 1.5/h + 1 = 151 counts/s; 6/h² + 3/h = 60,300 counts/s².
    assert rounding_allowance(Point(0, 0, 0), Point(10_000, 0, 0)) == pytest.approx((151, 60_300))
