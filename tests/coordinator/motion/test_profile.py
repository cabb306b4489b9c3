"""The jerk-limited profile along a line, against facts.md, Motion."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.motion import ProfileError, fastest


# v = 60 °/s, a = 120 °/s², j = 600 °/s³ (computed; formulas beside each).
@pytest.mark.parametrize(
    ("distance", "duration_s"),
    [
        (90.0, 2.2),  # D/v + v/a + a/j
        (20.0, 1.040635),  # vp = ½(−a²/j + √(a⁴/j² + 4aD)); 2(vp/a + a/j)
        (1.0, 0.376414),  # 4·∛(D/2j)
    ],
)
def test_jerk_limited_times_are_the_computed_ones(distance: float, duration_s: float) -> None:
    profile = fastest(distance, 60.0, 120.0, 600.0)
    assert profile.duration_s == pytest.approx(duration_s, abs=1e-6)


# Trapezoid D/v + v/a, triangle 2√(D/a): a jerk so high that it takes next to no time.
@pytest.mark.parametrize(("distance", "duration_s"), [(90.0, 2.0), (20.0, 0.816497)])
def test_without_a_jerk_limit_to_speak_of_times_are_those_of_trapezoid_and_triangle(
    distance: float, duration_s: float
) -> None:
    profile = fastest(distance, 60.0, 120.0, 1e6)
    assert profile.duration_s == pytest.approx(duration_s, abs=3e-4)


# Biagiotti & Melchiorri 2008 §3.4, the symmetric case computed from the same formulas:
# Tj = a/j, Ta = v/a + Tj, T = D/v + Ta.
def test_seven_phases_are_where_the_formulas_put_them() -> None:
    knots = fastest(90.0, 60.0, 120.0, 600.0).knots_s
    assert knots == pytest.approx((0.0, 0.2, 0.5, 0.7, 1.5, 1.7, 2.0, 2.2), abs=1e-12)


def test_phases_of_no_length_make_no_knots() -> None:
    knots = fastest(1.0, 60.0, 120.0, 600.0).knots_s
    quarter = 0.376414 / 4
    assert knots == pytest.approx((0.0, quarter, 3 * quarter, 4 * quarter), abs=1e-6)


def test_a_profile_rests_at_and_beyond_both_ends() -> None:
    profile = fastest(90.0, 60.0, 120.0, 600.0)
    assert profile.at(-1.0) == profile.at(0.0) == (0.0, 0.0, 0.0)
    assert profile.at(profile.duration_s) == profile.at(99.0) == (90.0, 0.0, 0.0)


def test_a_distance_that_cannot_be_planned_is_a_documented_error() -> None:
    with pytest.raises(ProfileError, match="1e\\+10"):
        fastest(1e10, 60.0, 96.0, 600.0)


# The bounds of an arm file, a move's longest time, and counts of the finest joint.
LIMITS = {
    "distance": st.floats(-5.0, 6.3).map(lambda x: 10.0**x),
    "velocity": st.floats(-2.0, 3.0).map(lambda x: 10.0**x),
    "acceleration": st.floats(-1.1, 4.0).map(lambda x: 10.0**x),
    "jerk": st.floats(0.0, 6.0).map(lambda x: 10.0**x),
}


@given(**LIMITS)
def test_every_profile_keeps_its_limits_and_rises_to_its_distance(
    distance: float, velocity: float, acceleration: float, jerk: float
) -> None:
    velocity = max(velocity, distance / 3600.0)
    profile = fastest(distance, velocity, acceleration, jerk)
    assert profile.duration_s > 0.0
    assert profile.knots_s[0] == 0.0
    assert profile.knots_s[-1] == profile.duration_s
    last, last_acceleration, last_time = 0.0, 0.0, 0.0
    for time in profile.knots_s:
        at, v, a = profile.at(time)
        assert at >= last - 1e-9 * distance
        assert abs(v) <= velocity * (1 + 1e-9)
        assert abs(a) <= acceleration * (1 + 1e-9)
        change = abs(a - last_acceleration) / max(time - last_time, 1e-12)
        # Within a phase the jerk is constant, so its mean is its value. Phases of less than a
        # µs leave nothing to divide by.
        assert time - last_time < 1e-6 or change <= jerk * (1 + 1e-6)
        last, last_acceleration, last_time = at, a, time
    at, v, _ = profile.at(profile.duration_s * (1 - 1e-12))
    assert math.isclose(at, distance, rel_tol=1e-6)
