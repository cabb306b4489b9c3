"""I5: no joint ever exceeds its limits of position, velocity (by more than 0.05 %) or acceleration
(by more than 0.1 %: the square of it), whatever it is sent. What is allowed is for clock rate and
slewing.

Velocity is per time of the arm clock, whose rate is looked at by itself, so one factor is left to
acceleration. Acceleration is measured: the difference of the velocities now and up to 1 ms later,
to which nothing new happens. On a path the rounding of points is allowed for, as in the check of
segments. No joint jumps either: from one look to the next its position goes no further than at its
limit of velocity, and its arm clock, by which it is on its path, no further than its own clock but
for rate and slewing, whatever map it takes in motion.
"""

from typing import Final

from coordinator.rehearsal.joint_node import Node
from protocol.constants import US
from protocol.states import MOVING_STATES, JointState
from tests.campaign.invariants.base import Invariant
from tests.campaign.judge import Judge
from tests.campaign.truth import body_of, path_us, segment_allowance

TOLERANCE: Final = 1.0005
STEP_US: Final = 1_000.0
ARM_ALLOWANCE_US: Final = 2.0
"""For times in doubles: those of days have parts of 10⁻⁵ µs, those of a wild map less fine ones."""
POSITION_ALLOWANCE: Final = 2.0
"""Counts, of 256 in a microstep: rounding of points, and of a Hermite cubic between them."""


class WithinLimits(Invariant):
    """Looks at the true motion itself."""

    name = "I5"

    def __init__(self, judge: Judge) -> None:
        super().__init__(judge)
        self._seen: dict[str, tuple[JointState, float, float, float, float | None]] = {}
        """State, joint time, position, velocity, arm time of each moving joint at the last look."""

    def rebooted(self, node: Node) -> None:
        self._seen.pop(node.id, None)

    def touched(self, node: Node) -> None:
        body = body_of(node)
        before = self._seen.pop(node.id, None)
        if body.state not in MOVING_STATES or body.configuration is None:
            return
        if node.id in self.judge.broken_clock:
            return
        limits = body.configuration
        now = self.judge.joint_us(node)
        position, velocity = body.position(now)
        arm_us = None if body.clock is None else body.clock.arm(now)
        if before is not None:
            self._judge_jump(node, before, (now, position, arm_us))
        self._seen[node.id] = body.state, now, position, velocity, arm_us
        more_velocity, more_acceleration = 1.0, 1.0
        if body.path.course is not None:
            more_velocity, more_acceleration = segment_allowance(body.path, path_us(node, now))
        low, high = limits.range_low, limits.range_high
        if (
            low is not None
            and high is not None
            and body.homed
            and not low - POSITION_ALLOWANCE <= position <= high + POSITION_ALLOWANCE
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

    def _judge_jump(
        self,
        node: Node,
        before: tuple[JointState, float, float, float, float | None],
        after: tuple[float, float, float | None],
    ) -> None:
        body = body_of(node)
        assert body.configuration is not None
        (state, then, position, velocity, arm_us), (now, new_position, new_arm_us) = before, after
        fast = body.configuration.velocity * TOLERANCE * (now - then) / US
        # A joint that homes learns where it is.
        if state is not JointState.HOMING and abs(new_position - position) > (
            fast + POSITION_ALLOWANCE
        ):
            raise self.broken(
                f"{node.name} went {abs(new_position - position):.1f} counts in "
                f"{(now - then) / 1e3:.3f} ms, its limit of velocity allows {fast:.1f}"
            )
        if arm_us is None or new_arm_us is None:
            return
        if state is JointState.STOPPING and not velocity:
            return  # its braking was over: it rested in between, if for an instant
        jumped_us = (new_arm_us - arm_us) - (now - then)
        if abs(jumped_us) > (TOLERANCE - 1.0) * (now - then) + ARM_ALLOWANCE_US:
            raise self.broken(
                f"the arm clock of {node.name} jumped by {jumped_us:.1f} µs in {body.state.word}"
            )
