"""A program whose absolute angles are shifted joint by joint, in its own words.

Numbers of joint words in G90 get an angle more; everything else, comments and blanks too, stays as
it was written. Distances (G91) stay: they follow what they begin from.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from coordinator.config.arm import Arm
from coordinator.motion.route import legs_problems, pose_of
from coordinator.programs import Move, Problem, Program, read_program
from coordinator.programs.words import NUMBER
from coordinator.teaching.taught import DIGITS

_END_OF_LINE: Final = re.compile(r"(\r\n|\r|\n)")


LINES_SHOWN: Final = 200
"""Changed lines of a program that are shown; the others are counted."""


@dataclass(frozen=True, slots=True)
class ChangedLine:
    """A line of a program before and after a shift."""

    line: int
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class ShiftedText:
    """What became of a program."""

    text: str
    """As it was, where it has mistakes."""
    mistakes: tuple[Problem, ...]
    """Of the program as it was: it cannot be shifted as long as it has some."""
    problems: tuple[Problem, ...]
    """Lines that could not be played any more, such as those that lead out of a joint's range."""
    changed: int
    """Lines that are others."""
    lines: tuple[ChangedLine, ...]
    """The first of them."""


def shifted_text(text: str, arm: Arm, offsets_deg: Mapping[str, float]) -> ShiftedText:
    """Shift a program by angles, by joint."""
    program, mistakes = read_program(text, arm.letters)
    if mistakes.count:
        return ShiftedText(text, mistakes.told(), (), 0, ())
    lines = _END_OF_LINE.split(text)
    before = lines.copy()
    places = {
        (step.line, target.column, arm.joints[target.joint].name)
        for step in program.steps
        if isinstance(step, Move) and not step.relative
        for target in step.targets
    }
    # From behind: a column holds as long as nothing before it has changed.
    for line, column, joint in sorted(places, reverse=True):
        offset = round(Decimal(offsets_deg.get(joint, 0.0)), DIGITS)
        if offset:
            lines[2 * line - 2] = _added(lines[2 * line - 2], column, offset)
    after = "".join(lines)
    changed = [
        ChangedLine(k // 2 + 1, old, new)
        for k, (old, new) in enumerate(zip(before, lines, strict=True))
        if old != new
    ]
    problems = _new_problems(program, after, arm)
    return ShiftedText(after, (), problems, len(changed), tuple(changed[:LINES_SHOWN]))


def _added(line: str, column: int, offset: Decimal) -> str:
    """A line in which the number of the word at a column, from 1, is larger."""
    found = NUMBER.match(line, column)
    assert found is not None, (line, column)
    number = Decimal(re.sub(r"[ \t]", "", found[0])) + offset
    digits = f"{number:f}"
    if "." in digits:
        digits = digits.rstrip("0").rstrip(".")
    return line[:column] + ("0" if digits == "-0" else digits) + line[found.end() :]


def _new_problems(before: Program, after: str, arm: Arm) -> tuple[Problem, ...]:
    park = pose_of(arm, arm.poses["park"])
    known = {one.line for one in legs_problems(before.steps, arm, park)}
    # A number that grew may make its line longer than a line may be.
    program, mistakes = read_program(after, arm.letters)
    found = [*mistakes.told(), *legs_problems(program.steps, arm, park)]
    return tuple(sorted(one for one in found if one.line not in known))
