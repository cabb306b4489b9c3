"""From a program to parts: what goes over the wire as one trajectory each.

A program is parted where the operator must act, at every M0 and what stops as it does, and where
an input is awaited behind the switch of an output. Parts are made at once and checked as a whole;
their points are made as they are asked for, again each time, so nothing here grows with the length
of a program except its steps.

A program that is to be played several times is as if it stood there so often: from where it ends
the arm goes to where it begins, without a rest that no M0 asks for. Where it is played for a time,
or home edges are checked between loops, the arm rests between two of them: each loop has parts of
its own. For a time the first two loops are planned, and the second one is played again and again.

A part in which no path time passes (an M0 before any motion, two in a row) has no trajectory:
it `is_empty`, and is there only because it ends in a pause. At the end of a program, where there
is no pause, there is no such part.
"""

from bisect import bisect_right
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import chain, pairwise
from typing import Final

from coordinator.config.arm import Arm
from coordinator.motion.blending.speeds import StretchSpeeds
from coordinator.motion.edges import (
    EDGE_STEPS,
    EdgeCheck,
    EdgesError,
    edge_checks,
    edge_legs,
    edge_steps,
)
from coordinator.motion.entry import read_route
from coordinator.motion.moves import plan_legs, speeds_of
from coordinator.motion.outputs import Awaited, ToolNeed, awaited, switch_need, wait_need
from coordinator.motion.points import PlannedMove
from coordinator.motion.reversal import approached, has_approach, named, overtravel_problems
from coordinator.motion.route import (
    Leg,
    Pose,
    legs,
    legs_problems,
    pose_at,
    problems_of,
)
from coordinator.programs import (
    NO_SWITCHES,
    Dwell,
    End,
    Move,
    Output,
    Pause,
    Problem,
    Problems,
    Program,
    ProgramError,
    Step,
    Switches,
)
from coordinator.programs.loops import ONCE, Loops
from coordinator.programs.packed import StepKeeper
from coordinator.programs.progress import Stage, Tell, counted, untold
from protocol.constants import US
from protocol.points import Point

MAX_STEPS: Final = 100_000
"""Steps of all loops of a program together: each is held in memory until it is played."""


@dataclass(frozen=True, slots=True)
class Part:
    """A stretch of a program between two pauses or waits: one trajectory, unless it is empty."""

    arm: Arm
    steps: Sequence[Step]
    """Moves, dwells and outputs."""
    start: Pose
    pause_line: int | None
    """The line of the M0, M1 or M60 that ends it; None for the last part."""
    loop: int = 1
    """Of the program, from 1: the one in which it begins."""
    turns: tuple[int, ...] = ()
    """Indexes of the steps with which each further loop begins."""
    pause_loop: int | None = None
    """The loop of the pause or the wait that ends it; None for the last part."""
    awaits: Awaited | None = None
    """What is awaited at its end, before the next part or the end of the run; None for nothing."""
    speeds: tuple[StretchSpeeds, ...] | None = None
    """What looking ahead found; None where it is looked for as moves are asked for."""
    settled: frozenset[int] = frozenset()
    """Indexes of the joints that stand on their approach side as it begins, as far as is known."""
    edges: tuple[EdgeCheck, ...] = ()
    """The home edges that are checked before the loop begins: the part is for nothing else."""

    @property
    def end_line(self) -> int | None:
        """The line of the pause or of the switch behind which something is awaited; None for the
        last part.
        """
        return self.pause_line if self.awaits is None else self.awaits.line

    @property
    def is_empty(self) -> bool:
        """Whether no path time passes, so that there is nothing to send."""
        return not any(leg.takes_time for leg in self.legs())

    def legs(self) -> Iterator[Leg]:
        """Its steps with their ends."""
        found = legs(self.steps, self.arm, self.start)
        if self.edges:
            return edge_legs(found, self.arm)
        return approached(found, self.arm, self.settled)

    def needs(self) -> Iterator[ToolNeed]:
        """What it needs of the tools: outputs in order, and then the input that is awaited."""
        for step in self.steps:
            if isinstance(step, Output):
                yield from switch_need(step, self.arm)
        if self.awaits is not None:
            yield wait_need(self.awaits)

    @property
    def broken_off(self) -> str:
        """Why no more of its moves come: nothing keeps them from it."""
        return ""

    def first_points(self) -> tuple[Point, ...]:
        """Where each joint must stand, at rest, at path time 0."""
        is_empty = self.is_empty
        return tuple(Point(0, at, 0, last=is_empty) for at in self.start.counts)

    def moves(self) -> Iterator[PlannedMove]:
        """Its steps in order, planned anew each time this is called.

        Only the very last point of the part is marked as the last.
        """
        held: list[PlannedMove] = []
        """From the last move that has points on: it may be the last of all that has."""
        for move in plan_legs(self.legs(), self.arm, self.speeds):
            if move.points[0]:
                yield from held
                held = []
            held.append(move)
        if held:
            yield held[0].as_last()
            yield from held[1:]

    def loop_of(self, move: int) -> int:
        """Loop of the program in which one of its moves is, by its index."""
        return self.loop + bisect_right(self.turns, move)


def plan_parts(program: Program, arm: Arm, start_counts: Sequence[int]) -> tuple[Part, ...]:
    """The parts of a program for an arm that stands, at rest, at `start_counts`.

    Raises ProgramError when it leads out of a joint's range or takes too long, with every line
    that does, and ValueError when there is not one position for each joint.
    """
    start = pose_at(arm, start_counts)
    problems = problems_of(program, arm, start)
    if problems:
        raise ProgramError(problems)
    parts, overtravel = checked_parts(program, arm, start)
    if overtravel:
        raise ProgramError(overtravel)
    return parts


def plan_text(
    text: str,
    arm: Arm,
    start: Pose,
    loops: Loops = ONCE,
    switches: Switches = NO_SWITCHES,
    half_widths_deg: Mapping[str, float] | None = None,
    *,
    ahead: bool = True,
    tell: Tell = untold,
) -> tuple[Part, ...]:
    """The parts of a program's text, played so often; for a time those of the first two loops, to
    be followed as `part_at` says. Raises ProgramError with all its mistakes, and EdgesError.

    `half_widths_deg` is half the width of each joint's home sensor, where edges are to be checked.
    `ahead`: look ahead now, for whoever asks for their moves and must not be kept waiting by it.
    """
    program, problems = read_route(text, arm, start, switches, tell)
    widths = half_widths_deg or {}
    if problems or (problems := _loops_problems(program, arm, start, loops, widths)):
        raise ProgramError(problems)
    parts, problems = checked_parts(program, arm, start, loops, switches, widths, tell)
    if problems:
        raise ProgramError(problems)
    if why := _stuck_beyond(parts, arm):
        raise EdgesError("; ".join(why))
    if loops.for_s is not None and not any(part.loop == 2 and not part.edges for part in parts):
        told = "the second loop moves nothing, so this cannot be played for a time"
        raise ProgramError((Problem(program.steps[-1].line, 1, told),))
    if not ahead:
        return parts
    made = []
    for part in parts:
        ahead_of = counted(part.legs(), Stage.PLANNING, len(part.steps), tell)
        made.append(replace(part, speeds=speeds_of(ahead_of, arm)))
    return tuple(made)


def checked_parts(
    program: Program,
    arm: Arm,
    start: Pose,
    loops: Loops = ONCE,
    switches: Switches = NO_SWITCHES,
    half_widths_deg: Mapping[str, float] | None = None,
    tell: Tell = untold,
) -> tuple[tuple[Part, ...], tuple[Problem, ...]]:
    """The parts of a program whose moves are within range, and where overtravel is not."""
    parts = tuple(parts_from(program, arm, start, loops, switches, half_widths_deg, tell))
    problems = Problems()
    if has_approach(arm):
        found = (
            one
            for part in parts
            if not part.edges
            for one in overtravel_problems(
                counted(part.legs(), Stage.ENDS, len(part.steps), tell), arm
            )
        )
        problems.add(*dict.fromkeys(found))  # the same in every loop
    return parts, problems.told()


def _stuck_beyond(parts: Sequence[Part], arm: Arm) -> list[str]:
    """Why joints cannot come back from the check of their edges: it is the same in every loop."""
    if not has_approach(arm):
        return []
    found: dict[str, str] = {}
    for part in parts:
        for leg in part.legs() if part.edges else ():
            for problem in overtravel_problems((leg,), arm):
                name = arm.joints[leg.overtravel[0]].name
                told = f"the edge of {name} cannot be checked: {problem.message}"
                found.setdefault(name, told)
    return list(found.values())


def parts_from(
    program: Program,
    arm: Arm,
    start: Pose,
    loops: Loops = ONCE,
    switches: Switches = NO_SWITCHES,
    half_widths_deg: Mapping[str, float] | None = None,
    tell: Tell = untold,
) -> Iterator[Part]:
    """As `plan_parts`, from a pose. Nothing is checked."""
    settled: frozenset[int] = frozenset()
    last_loop = _planned(loops)
    pending = StepKeeper()
    turns: list[int] = []
    first = 1
    for loop in range(1, last_loop + 1):
        if loop > 1 and loops.check_edges:
            checks, _ = edge_checks(arm, half_widths_deg or {}, start)
            over_edges = tuple(edge_steps(checks, arm, start, program.steps[-1].line))
            yield Part(arm, over_edges, start, None, loop, settled=settled, edges=checks)
            settled |= named(over_edges)
        if len(pending):
            turns.append(len(pending))
        else:
            first = loop
        steps = program.first_steps if loop == 1 else program.steps
        parted = counted(steps, Stage.PARTS, len(steps), tell)
        for step, following in pairwise(chain(parted, (None,))):
            assert step is not None
            wait = None
            line = step.line if isinstance(step, Pause) else None
            if isinstance(step, Move | Dwell | Output):
                pending.add(step)
                wait = awaited(step, arm) if isinstance(step, Output) else None
                if wait is None and not (switches.step_by_line and _ends_line(step, following)):
                    continue
                line = step.line if wait is None else None
            if isinstance(step, End) and loop < last_loop and not loops.apart:
                continue
            if isinstance(step, Pause) and step.optional and not switches.optional_stop:
                continue
            end_loop = loop if line is not None or wait is not None else None
            steps_done = pending.done()
            part = Part(
                arm, steps_done, start, line, first, tuple(turns), end_loop, wait, None, settled
            )
            if line is not None or not part.is_empty:
                yield part
            for leg in counted(part.legs(), Stage.ENDS, len(part.steps), tell):
                start = leg.end
            settled |= named(part.steps)
            pending, turns, first = StepKeeper(), [], loop
            if wait is not None and switches.step_by_line and _ends_line(step, following):
                yield Part(arm, (), start, step.line, loop, (), loop)


def edges_s(arm: Arm, half_widths_deg: Mapping[str, float], pose: Pose) -> float | None:
    """How long one check of all home edges from a pose takes, seconds of path time; None where
    the edge of some joint cannot be checked.
    """
    checks, why = edge_checks(arm, half_widths_deg, pose)
    if why:
        return None
    part = Part(arm, tuple(edge_steps(checks, arm, pose, 1)), pose, None, edges=checks)
    return sum(move.duration_us for move in part.moves()) / US


def _ends_line(step: Step, following: Step | None) -> bool:
    """Whether nothing else of its line follows, and something of another line does."""
    return (
        following is not None
        and following.line != step.line
        and not isinstance(following, End | Pause)
    )


def _planned(loops: Loops) -> int:
    """How many loops are planned: for a time all that follow are as the second one."""
    return loops.number if loops.number is not None else 2


def _loops_problems(
    program: Program, arm: Arm, start: Pose, loops: Loops, half_widths_deg: Mapping[str, float]
) -> tuple[Problem, ...]:
    """What keeps a program that can be played once from being played so often. Raises EdgesError
    where edges cannot be checked from where it begins.
    """
    last_loop = _planned(loops)
    end_line = program.steps[-1].line
    each = len(program.steps) - 1 + (EDGE_STEPS * len(arm.joints) if loops.check_edges else 0)
    steps = each * last_loop
    if last_loop > 1 and steps > MAX_STEPS:
        told = f"{last_loop} times {each} steps are {steps}, the limit is {MAX_STEPS}"
        return (Problem(end_line, 1, told),)
    if loops.check_edges and last_loop > 1:
        _, why = edge_checks(arm, half_widths_deg, start)
        if why:
            raise EdgesError("; ".join(why))
    # One loop more for a time: where the second one ends is where all begin.
    for loop in range(2, last_loop + 1 + (loops.for_s is not None)):
        end = start
        for leg in legs(program.first_steps if loop == 2 else program.steps, arm, start):
            end = leg.end
        if end == start:
            break  # every further loop is as this one
        if loop > last_loop:
            return (Problem(end_line, 1, _drift(arm, start, end)),)
        start = end
        problems = legs_problems(program.steps, arm, start)
        if problems:
            first = min(problems)
            return (replace(first, message=f"in loop {loop} of {_of(loops)}: {first.message}"),)
    return ()


def _of(loops: Loops) -> str:
    """Of how many, for people."""
    return str(loops.number) if loops.number is not None else "several"


def _drift(arm: Arm, start: Pose, end: Pose) -> str:
    """Why a program whose loops end elsewhere than they begin cannot be played for a time."""
    ends = zip(arm.joints, start.degrees, end.degrees, start.counts, end.counts, strict=True)
    name, by_deg = next((joint.name, b - a) for joint, a, b, at, to in ends if at != to)
    return (
        f"each loop turns {name} on by {by_deg:g}°, so how far it would go in a time is not known; "
        "play it a number of times"
    )
