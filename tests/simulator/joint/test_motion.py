import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulator.joint.motion import brake, toward
from tests.simulator.joint.rig import ACCELERATION, PER_DEGREE, VELOCITY

speeds = st.integers(-(10**6), 10**6).map(float)
accelerations = st.floats(1e3, 1e7)


# facts.md, Motion: v 60 °/s, a 120 °/s², trapezoid over 90° in 2.0 s, triangle over 20° in
# 0.816497 s (computed there from D/v + v/a and 2√(D/a)).
@pytest.mark.parametrize(("degrees", "seconds"), [(90, 2.0), (20, 0.816497)])
def test_move_to_a_bound_takes_the_textbook_time(degrees: int, seconds: float) -> None:
    goal = float(degrees * PER_DEGREE)
    motion = toward(0.0, 0.0, 0.0, VELOCITY, ACCELERATION, -goal, goal)
    assert motion.end_us == pytest.approx(seconds * 1e6, abs=1.0)
    assert motion.end_position == goal


@given(speeds, accelerations)
def test_braking_covers_half_the_square_of_speed_over_acceleration(v: float, a: float) -> None:
    motion = brake(5.0, 100.0, v, a)
    assert motion.end_us - 5.0 == pytest.approx(abs(v) / a * 1e6)
    assert motion.end_position == pytest.approx(100.0 + v * abs(v) / (2 * a))


@given(speeds, speeds, accelerations, st.floats(0, 1e8), st.floats(0, 1e8))
def test_motion_is_continuous_and_keeps_limits_and_bounds(
    v: float, target: float, a: float, below: float, above: float
) -> None:
    # Bounds which the joint can still obey: that is what every earlier motion left behind.
    stopping = v * abs(v) / (2 * a)
    low, high = min(0.0, stopping) - below, max(0.0, stopping) + above
    motion = toward(0.0, 0.0, v, target, a, low, high)
    assert motion.end_us < math.inf or target == 0.0
    fastest = max(abs(v), abs(target)) * (1 + 1e-9)
    slack = 1e-6 * (1.0 + high - low)
    position, velocity, at_us = 0.0, v, 0.0
    for segment in motion.segments:
        assert segment.start_us == at_us
        assert segment.position == pytest.approx(position, abs=slack)
        assert segment.velocity == pytest.approx(velocity, abs=1e-6 * fastest + a * 1e-12)
        assert abs(segment.acceleration) <= a
        at_us = segment.start_us + segment.duration_us
        position, velocity = segment.at(at_us)
        assert abs(velocity) <= fastest
        assert low - slack <= position <= high + slack
    assert at_us == motion.end_us
    # A double holds the time of the end only so finely.
    grain = 4 * a * math.ulp(at_us) / 1e6
    assert velocity == pytest.approx(0.0, abs=1e-6 * fastest + grain)
    assert motion.end_position == pytest.approx(position, abs=slack)


def test_without_bounds_the_target_is_held() -> None:
    motion = toward(0.0, 0.0, 0.0, -1000.0, 500.0)
    assert motion.end_us == math.inf
    assert motion.at(10e6)[1] == -1000.0


def test_outside_its_bounds_a_joint_only_moves_back_in() -> None:
    assert toward(0.0, 20.0, 0.0, 100.0, 50.0, -10.0, 10.0).at(1e6) == (20.0, 0.0)
    assert toward(0.0, 20.0, 0.0, -100.0, 50.0, -10.0, 10.0).end_position == -10.0
