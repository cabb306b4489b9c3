"""The legs of a program: where each step begins and ends, and whether the arm can go there."""

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from coordinator.config.arm import Arm
from coordinator.motion.outputs import output_problems
from coordinator.programs import (
    Dwell,
    End,
    Move,
    Output,
    Pause,
    Problem,
    Program,
    Step,
)
from coordinator.programs.progress import Stage, Tell, counted, untold

MAX_STEP_S: Final = 3_600.0
"""An hour: a move or dwell that is longer is a slip, such as a feed rate in another unit."""
MAX_TURN_DEG: Final = 1_000_000.0
"""Furthest that a joint without a range may turn: 2,778 turns, to which profiles are tested."""


@dataclass(frozen=True, slots=True)
class Pose:
    """Where all joints are, base to tool, in degrees and in counts."""

    degrees: tuple[float, ...]
    counts: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Leg:
    """A move, a dwell or the switch of an output, with its ends."""

    step: Move | Dwell | Output
    start: Pose
    end: Pose
    overtravel: tuple[int, ...] = ()
    """Joints that turn beyond its end and back there, once it is reached: their indexes."""
    overtravel_share: float = 1.0
    """Of full speed, no faster than which they do so."""

    @property
    def goes(self) -> bool:
        """Whether its end is elsewhere than its start."""
        return self.start.counts != self.end.counts

    @property
    def takes_time(self) -> bool:
        """Whether any path time passes."""
        if isinstance(self.step, Dwell):
            return self.step.seconds > 0.0
        return isinstance(self.step, Output) or self.goes or bool(self.overtravel)


@dataclass(frozen=True, slots=True)
class Pace:
    """How fast the slowest joint, or the program, lets a move go. Shares are of the whole move."""

    asked_s: float | None
    """Time that the program asks for, without what acceleration adds; None for a rapid move at full
    speed."""
    least_s: float
    """The same at the joints' velocity limits."""
    slowest: int
    """Index of the joint whose velocity limit that is."""

    @property
    def is_slowed(self) -> bool:
        """Whether the joints are slower than what the program asks for."""
        # Beyond what rounding the ends to counts can make of equal figures.
        return self.asked_s is not None and self.least_s > self.asked_s * (1.0 + 1e-6)


def pose_at(arm: Arm, counts: Sequence[int]) -> Pose:
    """The pose of positions in counts. Raises ValueError unless there is one for each joint."""
    return Pose(
        tuple(joint.to_degrees(at) for joint, at in zip(arm.joints, counts, strict=True)),
        tuple(counts),
    )


def pose_of(arm: Arm, degrees: Sequence[float]) -> Pose:
    """The pose of angles in degrees. Raises ValueError unless there is one for each joint."""
    return Pose(
        tuple(float(at) for at in degrees),
        tuple(joint.to_counts(at) for joint, at in zip(arm.joints, degrees, strict=True)),
    )


def legs(steps: Iterable[Step], arm: Arm, start: Pose) -> Iterator[Leg]:
    """Each step that is played with where it begins and ends, in order. Nothing is checked."""
    pose = start
    for step in steps:
        if isinstance(step, Pause | End):
            continue
        end = pose
        if isinstance(step, Move):
            degrees, counts = list(pose.degrees), list(pose.counts)
            for target in step.targets:
                origin = degrees[target.joint] if step.relative else 0.0
                degrees[target.joint] = origin + target.degrees
                counts[target.joint] = arm.joints[target.joint].to_counts(degrees[target.joint])
            end = Pose(tuple(degrees), tuple(counts))
        yield Leg(step, pose, end)
        pose = end


def pace(leg: Leg, arm: Arm) -> Pace:
    """The pace of a leg that is a move and takes time.

    F counts degrees along the move, all joints together: T = √(ΣΔ²)/F (NISTIR 6556 §2.1.2.5).
    """
    step = leg.step
    turns = [abs(b - a) for a, b in zip(leg.start.degrees, leg.end.degrees, strict=True)]
    times = [
        abs(b - a) / abs(joint.counts_per_degree * joint.velocity_deg_s)
        for joint, a, b in zip(arm.joints, leg.start.counts, leg.end.counts, strict=True)
    ]
    asked = None
    if isinstance(step, Move):
        asked = step.nominal_s
        if step.rapid and step.share < 1.0:
            asked = max(times) / step.share
        if step.feed_deg_min is not None:
            asked = 60.0 * math.hypot(*turns) / step.feed_deg_min
    least = max(times)
    return Pace(asked, least, times.index(least))


def problems_of(program: Program, arm: Arm, start: Pose, tell: Tell = untold) -> list[Problem]:
    """Every step that cannot be played."""
    steps = program.first_steps
    gone = counted(steps, Stage.RANGES, len(steps), tell)
    return [*output_problems(steps, arm), *legs_problems(gone, arm, start)]


def legs_problems(steps: Iterable[Step], arm: Arm, start: Pose) -> list[Problem]:
    """Every step that leads out of a joint's range, or takes longer than MAX_STEP_S."""
    found: list[Problem] = []
    for leg in legs(steps, arm, start):
        out = list(_out_of_range(leg, arm))
        found += out
        if not out:
            found += _too_long(leg, arm)
    return found


def _out_of_range(leg: Leg, arm: Arm) -> Iterator[Problem]:
    if not isinstance(leg.step, Move):
        return
    for target in leg.step.targets:
        joint = arm.joints[target.joint]
        angle = leg.end.degrees[target.joint]
        counts = joint.range_counts
        if counts is not None and joint.range_deg is not None:
            low, high = joint.range_deg
            # In counts, so that a sum of distances may end on the limit itself.
            if not counts[0] <= leg.end.counts[target.joint] <= counts[1]:
                limit = low if angle < low else high
                yield Problem(
                    leg.step.line,
                    target.column,
                    f"{joint.name} would go to {angle:g}°, beyond its limit of {limit:g}° "
                    f"(range {low:g} to {high:g}°)",
                )
        elif abs(angle) > MAX_TURN_DEG:
            yield Problem(
                leg.step.line,
                target.column,
                f"{joint.name} would turn to {angle:g}°, the limit is {MAX_TURN_DEG:.0f}° "
                "either way",
            )


def _too_long(leg: Leg, arm: Arm) -> Iterator[Problem]:
    if isinstance(leg.step, Dwell):
        seconds, what = leg.step.seconds, "dwell"
    elif isinstance(leg.step, Move) and leg.goes:
        speed = pace(leg, arm)
        seconds, what = max(speed.least_s, speed.asked_s or 0.0), "move"
    else:
        return
    if seconds > MAX_STEP_S:
        yield Problem(
            leg.step.line,
            leg.step.column,
            f"the {what} would take {seconds:.6g} s, the limit is {MAX_STEP_S:.0f} s",
        )
