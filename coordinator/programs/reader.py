"""From a program's text to its steps: the RS-274/NGC language of this project (NISTIR 6556).

What the language has stands in `groups.py` and `active.py`; what the rest of the standard's words
are, in `standard.py`.
"""

from collections.abc import Mapping
from typing import Final

from coordinator.config.problems import Problem, Problems
from coordinator.programs.error import ProgramError
from coordinator.programs.interpreter import Interpreter
from coordinator.programs.line_numbers import LineNumbers
from coordinator.programs.packed import StepKeeper
from coordinator.programs.progress import Stage, Tell, counted, untold
from coordinator.programs.steps import End, Program, Step
from coordinator.programs.words import count_lines, lines_of, read_line

_NO_END: Final = "the program ends without M2 or M30, and without standing between two lines with %"


def parse_program(text: str, letters: Mapping[str, str], *, block_delete: bool = False) -> Program:
    """The program in a text. Raises ProgramError with its mistakes, and nothing else.

    `letters` are the joints' names by their letters, base to tool. With `block_delete`, lines that
    begin with a slash are left out, unread. Pure: the same text gives the same program.
    """
    program, problems = read_program(text, letters, block_delete=block_delete)
    if problems.count:
        raise ProgramError(problems.told())
    return program


def read_program(
    text: str, letters: Mapping[str, str], *, block_delete: bool = False, tell: Tell = untold
) -> tuple[Program, Problems]:
    """What can be read of a text, and its mistakes.

    A program with mistakes is fit for further checks only, not for execution.
    """
    reader = Reader(letters, block_delete=block_delete)
    steps = StepKeeper()
    for line in counted(lines_of(text), Stage.READING, count_lines(text), tell):
        for step in reader.feed(line):
            steps.add(step)
        if reader.unread_line is not None:
            break
    reader.close()
    program = Program(steps.done(), reader.letters, reader.unread_line, reader.remarks)
    return program, reader.problems


class Reader:
    """A program read line by line. What it keeps does not grow with the program's length.

    `feed` it each line, then `close` it.
    """

    def __init__(self, letters: Mapping[str, str], *, block_delete: bool = False) -> None:
        """As `parse_program`. Raises ValueError for a letter that no joint can have."""
        self.problems = Problems()
        self.has_ended = False
        self.unread_line: int | None = None
        """The first line behind the end that has text. A lone % is none: where a program is
        demarcated it stands behind M2."""
        self._interpreter = Interpreter(letters)
        self._line_numbers = LineNumbers()
        self._block_delete = block_delete
        self._number = 0
        self._has_begun = False
        self._is_demarcated = False
        self._last = Problem(1, 1, _NO_END)
        """What is to be told if there is no more: where the last line with text ends."""

    @property
    def letters(self) -> tuple[str, ...]:
        """The joints' letters in this program, base to tool, as far as it was read."""
        return self._interpreter.head.letters

    @property
    def remarks(self) -> tuple[Problem, ...]:
        """What is no mistake, but may not be meant."""
        return self._line_numbers.remarks

    def feed(self, text: str) -> list[Step]:
        """The steps of the next line, which comes without its end. Behind the program's end there
        are none.
        """
        self._number += 1
        bare = text.strip(" \t")
        if self.has_ended:
            if self.unread_line is None and bare not in ("", "%"):
                self.unread_line = self._number
            return []
        if text.strip():
            self._last = Problem(self._number, len(text.rstrip()), _NO_END)
        is_first, self._has_begun = not self._has_begun, self._has_begun or bare != ""
        if not bare:
            return []
        if bare == "%" and is_first:
            # Demarcated (NISTIR 6556 §3.1): what follows the second such line is not read.
            self._is_demarcated = True
            return []
        if bare == "%" and self._is_demarcated:
            self.has_ended = True
            return [End(self._number)]
        line = read_line(text, self._number)
        if line.deletable and self._block_delete:
            return []
        if line.line_number is not None:
            self._line_numbers.add(line.line_number, self._number)
        steps, problems = self._interpreter.execute(line)
        self.problems.add(*problems)
        self.has_ended = any(isinstance(step, End) for step in steps)
        return steps

    def close(self) -> None:
        """There are no more lines."""
        self.problems.add(*self._interpreter.head.close(self._number))
        if not self.has_ended and self._interpreter.may_lack_end:
            self.problems.add(self._last)
