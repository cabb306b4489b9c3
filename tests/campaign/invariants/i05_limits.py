"""I5: no joint ever exceeds its position, velocity or acceleration limit (by more than 0.05 % for
clock rate and slewing), whatever it is sent.

Acceleration is measured: the difference of the velocities now and up to 1 ms later, to which
nothing new happens. On a path the rounding of points is allowed for, as in the check of segments.
"""

from coordinator.rehearsal.node import Node
from protocol.constants import US
from protocol.states import MOVING_STATES, JointState
from tests.campaign.invariants.base import Invariant
from tests.campaign.truth import body_of, path_us, segment_allowance

TOLERANCE = 1.0005
STEP_US = 1_000.0
POSITION_ALLOWANCE = 2.0
"""Counts, of 256 in a microstep: rounding of points, and of a Hermite cubic between them."""


class WithinLimits(Invariant):
    """Looks at the true motion itself."""

    name = "I5"

    def touched(self, node: Node) -> None:
        body = body_of(node)
        if body.state not in MOVING_STATES or body.configuration is None:
            return
        if node.id in self.judge.broken_clock:
            return
        limits = body.configuration
        now = self.judge.joint_us(node)
        position, velocity = body.position(now)
        more_velocity, more_acceleration = 1.0, 1.0
        if body.path.course is not None:
            more_velocity, more_acceleration = segment_allowance(body.path, path_us(node, now))
        low, high = limits.range_low, limits.range_high
        if (
            low is not None
            and high is not None
            and body.homed
            and not low - POSITION_ALLOWANCE <= position <= high + POSITION_ALLOWANCE
            and body.state is not JointState.STOPPING
        ):
            raise self.broken(f"{node.name} is at {position:.1f} counts, its range {low} to {high}")
        if abs(velocity) > limits.velocity * TOLERANCE + more_velocity:
            raise self.broken(
                f"{node.name} moves by {velocity:.1f} counts/s in {body.state.word}, "
                f"its limit is {limits.velocity}"
            )
        later = min(now + STEP_US, node.unit.due_us)
        if later - now < 10.0:
            return
        gained = (body.position(later)[1] - velocity) / (later - now) * US
        if abs(gained) > limits.acceleration * TOLERANCE + more_acceleration:
            raise self.broken(
                f"{node.name} accelerates by {gained:.0f} counts/s² in {body.state.word}, "
                f"its limit is {limits.acceleration}"
            )
