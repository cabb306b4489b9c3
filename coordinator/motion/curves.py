"""What a program makes of each joint over path time, as a picture needs it.

Angle, speed and acceleration, at least and at most, in each of a bounded number of stretches of
time: no short excursion is lost.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from coordinator.config.arm import Arm
from coordinator.motion.entry import read_route
from coordinator.motion.marks import CurveMark, Marks
from coordinator.motion.plan import checked_parts
from coordinator.motion.route import pose_of
from coordinator.motion.stretches import Stretches
from coordinator.programs import NO_SWITCHES, ProgramError, Switches
from coordinator.programs.progress import Stage, Tell, counted, untold
from protocol.constants import ACCELERATION_SHARE, US

DECIMALS: Final = (4, 3, 2)
"""Of angle, speed and acceleration: as far as counts resolve them, and no further."""


@dataclass(frozen=True, slots=True)
class Curves:
    """What a program would do over path time, without its pauses."""

    begins: str
    """Where the arm was taken to begin: `here`, or at its pose `park`."""
    time_s: tuple[float, ...]
    """When each stretch begins, evenly; the first at 0."""
    low_deg: dict[str, tuple[float, ...]]
    """By joint, one for each stretch: the least angle in it."""
    high_deg: dict[str, tuple[float, ...]]
    """The greatest angle in it."""
    lines: tuple[int, ...]
    """The program line that is played as each stretch begins."""
    range_deg: dict[str, tuple[float, float] | None]
    """By joint; None where it may turn without end."""
    duration_s: float
    """When the program ends."""
    low_deg_s: dict[str, tuple[float, ...]]
    """As `low_deg`: the least speed, below 0 where the angle falls."""
    high_deg_s: dict[str, tuple[float, ...]]
    """The greatest speed."""
    low_deg_s2: dict[str, tuple[float, ...]]
    """The least acceleration. Rounding adds to it between points that are close."""
    high_deg_s2: dict[str, tuple[float, ...]]
    """The greatest acceleration."""
    velocity_deg_s: dict[str, float]
    """By joint: its velocity limit, either way round."""
    acceleration_deg_s2: dict[str, float]
    """Its acceleration limit."""
    plan_deg_s2: dict[str, float]
    """What a plan may use of that: starting and holding along the path need the rest."""
    marks: tuple[CurveMark, ...]
    """In order of time, of each kind the first thousand."""
    more_marks: dict[str, int]
    """By kind, how many more there are, where there are any."""


def curves(
    text: str,
    arm: Arm,
    start_deg: Sequence[float] | None = None,
    switches: Switches = NO_SWITCHES,
    tell: Tell = untold,
) -> Curves:
    """The curves of a program for an arm that begins at `start_deg`, by default at `park`.

    Raises ProgramError with all its mistakes.
    """
    begins = "park" if start_deg is None else "here"
    start = pose_of(arm, arm.poses["park"] if start_deg is None else start_deg)
    program, problems = read_route(text, arm, start, switches, tell)
    if not problems:
        parts, problems = checked_parts(program, arm, start, switches=switches, tell=tell)
    if problems:
        raise ProgramError(problems)
    stretches, marks = Stretches(start.counts), Marks()
    for part in parts:
        begun_us, at = stretches.end_us, tuple(part.first_points())
        for move in counted(part.moves(), Stage.PLANNING, len(part.steps), tell):
            at = stretches.add(move, at, begun_us)
            marks.of_move(move, begun_us)
        marks.of_end(part, stretches.end_us)
    stretches.close()
    step_s = stretches.step_us / US
    angles, speeds, accelerations = (_reached(arm, stretches, which) for which in range(3))
    return Curves(
        begins=begins,
        time_s=tuple(round(k * step_s, 6) for k in range(len(stretches.low))),
        low_deg=angles[0],
        high_deg=angles[1],
        lines=tuple(stretches.lines),
        range_deg={joint.name: joint.range_deg for joint in arm.joints},
        duration_s=stretches.end_us / US,
        low_deg_s=speeds[0],
        high_deg_s=speeds[1],
        low_deg_s2=accelerations[0],
        high_deg_s2=accelerations[1],
        velocity_deg_s={joint.name: joint.velocity_deg_s for joint in arm.joints},
        acceleration_deg_s2={joint.name: joint.acceleration_deg_s2 for joint in arm.joints},
        plan_deg_s2={
            joint.name: round(ACCELERATION_SHARE * joint.acceleration_deg_s2, 6)
            for joint in arm.joints
        },
        marks=tuple(marks.kept),
        more_marks=marks.more,
    )


Reached = dict[str, tuple[float, ...]]


def _reached(arm: Arm, stretches: Stretches, which: int) -> tuple[Reached, Reached]:
    """The least and the greatest angle (0), speed (1) or acceleration (2) by joint."""
    least, greatest = {}, {}
    for k, joint in enumerate(arm.joints):
        at, decimals, per_degree = 3 * k + which, DECIMALS[which], joint.counts_per_degree
        ends = [
            (low[at], high[at]) for low, high in zip(stretches.low, stretches.high, strict=True)
        ]
        if which == 0:
            told = [(joint.to_degrees(round(a)), joint.to_degrees(round(b))) for a, b in ends]
        else:
            told = [(a / per_degree, b / per_degree) for a, b in ends]
        # A joint may count the other way round; 0 is told without a sign.
        least[joint.name] = tuple(round(min(pair), decimals) + 0.0 for pair in told)
        greatest[joint.name] = tuple(round(max(pair), decimals) + 0.0 for pair in told)
    return least, greatest
