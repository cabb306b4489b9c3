"""Playing a program from a line in its middle: what goes before that line is played."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import chain

from coordinator.config.arm import Arm
from coordinator.motion.reversal import named
from coordinator.motion.route import Pose, legs, problems_of
from coordinator.programs import (
    NO_SWITCHES,
    End,
    Move,
    Output,
    Pause,
    Problem,
    Program,
    ProgramError,
    Step,
    Switches,
    Target,
    read_program,
)
from coordinator.programs.packed import kept
from coordinator.programs.progress import Tell, untold
from coordinator.programs.words import missing_line

OUTPUT_GROUPS = (("M3", "M5"), ("M8", "M9"))
"""Words of which the last one counts (NISTIR 6556 Table 4, groups 7 and 8)."""


def read_route(
    text: str,
    arm: Arm,
    start: Pose,
    switches: Switches = NO_SWITCHES,
    tell: Tell = untold,
) -> tuple[Program, tuple[Problem, ...]]:
    """What can be read of a text, as it is to be played from a pose, and its mistakes, whether in
    its words or where it leads.

    No more than MAX_PROBLEMS are told, and then how many more there are.
    """
    program, problems = read_program(
        text, arm.letters, block_delete=switches.block_delete, tell=tell
    )
    if switches.from_line is not None and problems.count == 0:
        line = switches.from_line
        if missing := missing_line(line, text):
            found = [missing]
        else:
            program, found = _entered(program, arm, start, line)
        problems.add(*found)
        if found:
            return program, problems.told()
    problems.add(*problems_of(program, arm, start, tell))
    return program, problems.told()


def way_to_line(program: Program, arm: Arm, start: Pose, line: int) -> dict[str, float]:
    """By joint the angle at which it would be as a line of a program without mistakes begins.

    Joints of which the lines before say nothing are not named. From the first line on that is every
    joint: a program begins from wherever the arm stands. Raises ProgramError.
    """
    before = program.steps[: _first(program, line)]
    if unknown := tuple(_unknown(before, arm, line)):
        raise ProgramError(unknown)
    where = start
    for leg in legs(before, arm, start):
        where = leg.end
    turned = {target.joint for step in before if isinstance(step, Move) for target in step.targets}
    return {arm.joints[k].name: where.degrees[k] for k in sorted(turned)}


def _first(program: Program, line: int) -> int:
    """The index of the first step at that line or behind it; all of them before where none is."""
    return next((k for k, one in enumerate(program.steps) if one.line >= line), len(program.steps))


def _entered(program: Program, arm: Arm, start: Pose, line: int) -> tuple[Program, list[Problem]]:
    """The program as it is played from a line on, and what keeps it from that.

    Its `entry` is: slowly to where the program would be as that line begins, a pause if there is
    any way to go, outputs as they would be, and the rest. A joint of which the lines before say
    nothing stays where it is; one that they turn only by distances is a problem, for where it
    would be nobody knows. One that they turn to its place from its approach side comes to it so.
    """
    at = _first(program, line)
    if at == len(program.steps) or isinstance(program.steps[at], End):
        end = program.steps[-1].line if program.steps else 1
        told = f"from line {line} on nothing is left to play: the program ends on line {end}"
        return program, [Problem(line, 1, told)]
    before, after = program.steps[:at], program.steps[at:]
    problems = list(_unknown(before, arm, line))
    if problems:
        return program, problems
    where = start
    for leg in legs(before, arm, start):
        where = leg.end
    sided = {k for k in named(before) if arm.joints[k].approach is not None}
    approach = _approach(where, start, arm, after[0], sided)
    entry = kept(chain(approach, _outputs(before), after))
    return replace(program, entry=entry), []


def _unknown(before: Sequence[Step], arm: Arm, line: int) -> Iterator[Problem]:
    """Joints that are turned by distances from where nothing says that they are."""
    known: set[int] = set()
    told: set[int] = set()
    for step in before:
        if not isinstance(step, Move):
            continue
        for target in step.targets:
            if not step.relative:
                known.add(target.joint)
                told.discard(target.joint)
            elif target.joint not in known:
                told.add(target.joint)
    for joint in sorted(told):
        name = arm.joints[joint].name
        yield Problem(
            line,
            1,
            f"where {name} would be as line {line} begins is not known: the lines before turn it "
            "only by distances; begin at a line behind one that names its angle",
        )


def _approach(where: Pose, start: Pose, arm: Arm, first: Step, sided: set[int]) -> Iterator[Step]:
    """Slowly there, and a rest until the operator goes on; `sided` joints come from their side,
    even where they stand there already.
    """
    away = [k for k, at in enumerate(where.counts) if at != start.counts[k] or k in sided]
    if away:
        targets = tuple(Target(k, where.degrees[k], 1) for k in away)
        share = arm.jog_speeds.teaching
        yield Move(first.line, 1, targets, relative=False, rapid=True, share=share, approach=True)
        yield Pause(first.line)


def _outputs(before: Sequence[Step]) -> Iterator[Step]:
    """The last switch of each output, in the order in which they were."""
    last: dict[tuple[str, str], Output] = {}
    for step in before:
        if isinstance(step, Output):
            group = next(one for one in OUTPUT_GROUPS if step.word in one)
            last.pop(group, None)
            last[group] = step
    yield from last.values()
