"""The fastest jerk-limited way along a straight line, from rest to rest. The only use of ruckig.

All joints of a straight move have done the same fraction at all times (NISTIR 6556 §2.1.2.4),
so the move has one degree of freedom, the distance along it, and is planned as one: the others
are multiples of it and cannot leave the line. Given all joints at once, ruckig falls back from
phase to time synchronisation, without a word, where scaling the slowest joint's profile breaks
a limit of another, and then the joints stray from the line.

`intermediate_positions` is never used: the published wheel would ask a remote service.
"""

from dataclasses import dataclass
from itertools import accumulate
from typing import Any

import ruckig


class ProfileError(ArithmeticError):
    """No profile was found. The arm file's bounds keep clear of where that was ever seen."""


@dataclass(frozen=True, slots=True)
class Profile:
    """Distance over time: a cubic between each two of `knots_s`."""

    distance: float
    duration_s: float
    knots_s: tuple[float, ...]
    """Where the jerk changes, from 0 to the duration; at least two, all different."""
    _trajectory: Any

    def at(self, time_s: float) -> tuple[float, float, float]:
        """Distance, velocity and acceleration at a time, at rest beyond either end."""
        if time_s <= 0.0:
            return 0.0, 0.0, 0.0
        if time_s >= self.duration_s:
            return self.distance, 0.0, 0.0
        position, velocity, acceleration = self._trajectory.at_time(time_s)
        return position[0], velocity[0], acceleration[0]


def fastest(distance: float, velocity: float, acceleration: float, jerk: float) -> Profile:
    """The profile for a distance above zero and the limits along it, all in one unit of length.

    Raises ProfileError when ruckig finds none.
    """
    task = ruckig.InputParameter(1)
    task.current_position = [0.0]
    task.target_position = [distance]
    task.max_velocity = [velocity]
    task.max_acceleration = [acceleration]
    task.max_jerk = [jerk]
    task.synchronization = ruckig.Synchronization.Phase
    trajectory = ruckig.Trajectory(1)
    figures = (
        f"a distance of {distance:g} with velocity {velocity:g}, acceleration "
        f"{acceleration:g} and jerk {jerk:g}"
    )
    try:
        result = ruckig.Ruckig(1).calculate(task, trajectory)
    except ruckig.RuckigError as error:
        raise ProfileError(f"no profile was found for {figures}") from error
    if result != ruckig.Result.Working:
        raise ProfileError(f"no profile was found for {figures}: {result}")
    phases = trajectory.profiles[0][0].t
    knots = sorted({0.0, *accumulate(phases[:-1]), trajectory.duration})
    return Profile(distance, trajectory.duration, tuple(knots), trajectory)
