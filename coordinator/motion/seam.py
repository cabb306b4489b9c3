"""With what another loop of a program begins: from where it ends to where its first move leads."""

from dataclasses import dataclass

from coordinator.config.arm import Arm
from coordinator.motion.points import plan_leg
from coordinator.motion.route import Pose, legs, legs_problems
from coordinator.programs import Move, Program
from protocol.constants import US


@dataclass(frozen=True, slots=True)
class Seam:
    """The first move of a second loop, which begins where the first one ends."""

    line: int
    turns_deg: dict[str, float]
    """By joint, of those that it turns."""
    duration_s: float
    """From rest to rest. Path time; in G64 it may be less."""
    obstacle: str
    """Why there can be no second loop; empty where there can."""


def seam(program: Program, arm: Arm, start: Pose, end: Pose) -> Seam | None:
    """The seam of a program that leads from `start` to `end`; None where loops end as they begin,
    or a second one moves nothing.
    """
    if end.counts == start.counts:
        return None
    turning = (leg for leg in legs(program.steps, arm, end) if isinstance(leg.step, Move))
    first = next((leg for leg in turning if leg.takes_time), None)
    if first is None:
        return None
    problems = legs_problems(program.steps, arm, end)
    ends = zip(arm.joints, first.start.degrees, first.end.degrees, strict=True)
    return Seam(
        line=first.step.line,
        turns_deg={joint.name: round(b - a, 9) for joint, a, b in ends if a != b},
        duration_s=0.0 if problems else plan_leg(first, arm, 0).duration_us / US,
        obstacle=min(problems).message if problems else "",
    )
