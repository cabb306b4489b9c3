"""What the planner relies on in ruckig, against published and computed figures."""

import numpy as np
import pytest
import ruckig


def plan(
    distance: list[float],
    velocity: list[float],
    acceleration: list[float],
    jerk: float,
    synchronization: ruckig.Synchronization,
    start_velocity: float = 0.0,
) -> ruckig.Trajectory:
    joints = len(distance)
    task = ruckig.InputParameter(joints)
    task.current_position = [0.0] * joints
    task.current_velocity = [start_velocity] * joints
    task.target_position = distance
    task.max_velocity = velocity
    task.max_acceleration = acceleration
    task.max_jerk = [jerk] * joints
    task.synchronization = synchronization
    trajectory = ruckig.Trajectory(joints)
    assert ruckig.Ruckig(joints).calculate(task, trajectory) == ruckig.Result.Working
    return trajectory


def furthest_off_the_line(trajectory: ruckig.Trajectory, distance: list[float]) -> float:
    """Largest angle by which a joint is not where the first joint's fraction puts it."""
    times = np.linspace(0.0, trajectory.duration, 4001)
    angles = np.array([trajectory.at_time(time)[0] for time in times])
    on_line = np.outer(angles[:, 0] / distance[0], distance)
    return float(np.abs(angles - on_line).max())


# Biagiotti & Melchiorri 2008 §3.4 (numbers from memory): D 10, a 10, j 30, v1 0.
@pytest.mark.parametrize(
    ("velocity", "times"), [(5.0, [0.7333, 1.1433, 0.8333]), (10.0, [1.0747, 0.0, 1.1747])]
)
def test_double_s_profile_with_a_start_velocity_has_the_published_times(
    velocity: float, times: list[float]
) -> None:
    phase = ruckig.Synchronization.Phase
    trajectory = plan([10.0], [velocity], [10.0], 30.0, phase, start_velocity=1.0)
    t = trajectory.profiles[0][0].t
    assert [sum(t[:3]), t[3], sum(t[4:])] == pytest.approx(times, abs=5e-5)


# facts.md, Motion: a 90/30/10° move strays 2.12° by default, and not with phase synchronisation.
def test_default_synchronisation_strays_from_the_line_and_phase_does_not() -> None:
    distance = [90.0, 30.0, 10.0]
    limits = ([60.0] * 3, [120.0] * 3, 600.0)
    default = plan(distance, *limits, ruckig.Synchronization.Time)
    phase = plan(distance, *limits, ruckig.Synchronization.Phase)
    assert furthest_off_the_line(default, distance) == pytest.approx(2.12, abs=0.005)
    assert furthest_off_the_line(phase, distance) < 1e-9


# Why `coordinator.motion.profile` plans one degree of freedom: found by trying ruckig 0.19.4.
def test_phase_synchronisation_of_unlike_joints_strays_without_a_word() -> None:
    distance = [90.0, 80.0]
    trajectory = plan(distance, [60.0, 100.0], [120.0, 60.0], 600.0, ruckig.Synchronization.Phase)
    assert furthest_off_the_line(trajectory, distance) > 1.0
