"""Straight moves against the time-optimal bound by TOPP-RA (Pham & Pham, T-RO 2018)."""

from pathlib import Path
from statistics import median

import numpy as np
import pytest
import toppra
from hypothesis import given, settings
from hypothesis import strategies as st
from toppra.algorithm import TOPPRA
from toppra.constraint import JointAccelerationConstraint, JointVelocityConstraint

from coordinator.config.arm import load_arm
from coordinator.motion import check_program
from protocol.constants import ACCELERATION_SHARE
from tests.bench import blending

ARM = load_arm(Path(__file__).parents[2] / "coordinator" / "demo" / "arm.toml")
GRID = 200


def bound_s(turns: list[float]) -> float:
    """The least time for a straight move under velocity and acceleration limits, no jerk limit."""
    path = toppra.SplineInterpolator([0, 1], np.array([[0.0] * len(turns), turns]))
    velocity = [[-joint.velocity_deg_s, joint.velocity_deg_s] for joint in ARM.joints]
    allowed = [ACCELERATION_SHARE * joint.acceleration_deg_s2 for joint in ARM.joints]
    constraints = [
        JointVelocityConstraint(np.array(velocity)),
        JointAccelerationConstraint(np.array([[-a, a] for a in allowed])),
    ]
    task = TOPPRA(
        constraints,
        path,
        gridpoints=np.linspace(0.0, 1.0, GRID + 1),
        solver_wrapper="seidel",
        parametrizer="ParametrizeConstAccel",
    )
    return float(task.compute_trajectory(0, 0).duration)


def planned_s(turns: list[float]) -> float:
    words = " ".join(f"{letter}{turn:.6f}" for letter, turn in zip(ARM.words, turns, strict=True))
    result = check_program(f"G0 {words}\nM2", ARM, [0.0] * len(turns))
    assert result.duration_s is not None
    return result.duration_s


def test_the_bound_of_one_joint_is_the_trapezoid() -> None:
    # D/v + v/a with a = 0.8 · 120 °/s² (computed).
    assert bound_s([90.0, 0, 0, 0, 0, 0]) == pytest.approx(90 / 60 + 60 / 96, rel=1e-4)


@settings(max_examples=20)
@given(st.lists(st.integers(-90, 90), min_size=6, max_size=6).filter(any))
def test_a_straight_move_takes_at_least_the_bound_and_not_much_more(turns: list[int]) -> None:
    angles = [float(turn) for turn in turns]
    bound, planned = bound_s(angles), planned_s(angles)
    # 1e-4 is what the bound's own grid leaves open.
    assert planned >= bound * (1 - 1e-4)
    # Acceleration rises and falls in at most a/j = 0.2 s, twice a move at most (facts.md).
    assert planned <= bound + 2 * 0.2


def test_blended_programs_take_at_least_the_bound_and_half_of_them_little_more() -> None:
    judged = [blending.one(seed)[2] for seed in range(5)]
    # 1 % is what the bound's own grid leaves open there.
    assert min(one.ratio for one in judged) >= 0.99
    # Rounding to counts and merged knots leave less than a thousandth.
    assert max(max(one.strays, one.velocity, one.acceleration) for one in judged) <= 1.001
    # The bound knows no jerk limit. `make bench`, table `blending`, has it over 1,000 programs.
    assert median(one.ratio for one in judged) <= 1.3
