"""Line numbers that stand on several lines: the standard allows that (NISTIR 6556 §3.3.1, from
memory), but who reads of one of them cannot tell which line it is.
"""

from array import array
from typing import Final

from coordinator.config.problems import Problem
from coordinator.programs.words import MAX_LINE_DIGITS, Word

MOST_TOLD: Final = 20
"""Of a program whose numbers begin anew there are thousands."""
_COUNTED: Final = "to begin from a line, lines of the text are counted, and N words say nothing"


class LineNumbers:
    """The N words of one program as they come. What it keeps does not grow with its length."""

    def __init__(self) -> None:
        self._first = array("L")
        """By number the first line that has it, 0 for none; empty before the first number."""
        self._told: list[Problem] = []
        self._more: list[int] = []
        """Line and column of the first that is not told, and how many those are."""

    def add(self, word: Word, line: int) -> None:
        """The N word of the next line."""
        if not self._first:
            self._first = array("L", bytes(self._first.itemsize * 10**MAX_LINE_DIGITS))
        number = int(word.value)
        first = self._first[number]
        if not first:
            self._first[number] = line
        elif len(self._told) < MOST_TOLD:
            message = f"{word.text} is the line number of line {first} too; {_COUNTED}"
            self._told.append(Problem(line, word.column, message))
        elif self._more:
            self._more[2] += 1
        else:
            self._more = [line, word.column, 1]

    @property
    def remarks(self) -> tuple[Problem, ...]:
        """Lines whose number stood before, in file order."""
        if not self._more:
            return tuple(self._told)
        line, column, count = self._more
        lines = "1 more line has" if count == 1 else f"{count} more lines have"
        message = f"from here on {lines} a line number that stood before"
        return (*self._told, Problem(line, column, message))
