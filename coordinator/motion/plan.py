"""From a program to parts: what goes over the wire as one trajectory each.

A program is parted where the operator must act, at every M0. Parts are made at once and checked
as a whole; their points are made as they are asked for, again each time, so nothing here grows
with the length of a program except its steps.

A part in which no path time passes (an M0 before any motion, two in a row) has no trajectory:
it `is_empty`, and is there only because it ends in a pause. At the end of a program, where there
is no pause, there is no such part.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from coordinator.arm import Arm
from coordinator.motion.points import PlannedMove, plan_leg
from coordinator.motion.route import Leg, Pose, legs, pose_at, problems_of, read_route
from coordinator.programs import Dwell, Move, Pause, Program, ProgramError
from protocol.points import Point


@dataclass(frozen=True, slots=True)
class Part:
    """A stretch of a program between two pauses: one trajectory, unless it is empty."""

    arm: Arm
    steps: tuple[Move | Dwell, ...]
    start: Pose
    pause_line: int | None
    """The line of the M0 that ends it; None for the last part."""

    @property
    def is_empty(self) -> bool:
        """Whether no path time passes, so that there is nothing to send."""
        return not any(leg.takes_time for leg in self.legs())

    def legs(self) -> Iterator[Leg]:
        """Its steps with their ends."""
        return legs(self.steps, self.arm, self.start)

    def first_points(self) -> tuple[Point, ...]:
        """Where each joint must stand, at rest, at path time 0."""
        is_empty = self.is_empty
        return tuple(Point(0, at, 0, last=is_empty) for at in self.start.counts)

    def moves(self) -> Iterator[PlannedMove]:
        """Moves and dwells in order, planned anew each time this is called.

        Only the very last point of the part is marked as the last.
        """
        last = max((k for k, leg in enumerate(self.legs()) if leg.takes_time), default=-1)
        time_us = 0
        for k, leg in enumerate(self.legs()):
            move = plan_leg(leg, self.arm, time_us, is_last=k == last)
            time_us += move.duration_us
            yield move


def plan_parts(program: Program, arm: Arm, start_counts: Sequence[int]) -> tuple[Part, ...]:
    """The parts of a program for an arm that stands, at rest, at `start_counts`.

    Raises ProgramError when it leads out of a joint's range or takes too long, with every line
    that does, and ValueError when there is not one position for each joint.
    """
    start = pose_at(arm, start_counts)
    problems = problems_of(program, arm, start)
    if problems:
        raise ProgramError(problems)
    return tuple(parts_from(program, arm, start))


def plan_text(text: str, arm: Arm, start: Pose) -> tuple[Part, ...]:
    """The parts of a program's text. Raises ProgramError with all its mistakes."""
    program, problems = read_route(text, arm, start)
    if problems:
        raise ProgramError(problems)
    return tuple(parts_from(program, arm, start))


def parts_from(program: Program, arm: Arm, start: Pose) -> Iterator[Part]:
    """As `plan_parts`, from a pose. Nothing is checked."""
    pending: list[Move | Dwell] = []
    for step in program.steps:
        if isinstance(step, Move | Dwell):
            pending.append(step)
            continue
        part = Part(arm, tuple(pending), start, step.line if isinstance(step, Pause) else None)
        if isinstance(step, Pause) or not part.is_empty:
            yield part
        for leg in part.legs():
            start = leg.end
        pending = []
