"""Many mistakes in a text that people gave, a program or a table: the first, and how many more."""

from bisect import insort
from dataclasses import dataclass
from typing import Final

MAX_PROBLEMS: Final = 100
"""Mistakes told of one program or table: more are mostly one that is made again and again, and the
answer must not grow with them."""


@dataclass(frozen=True, slots=True, order=True)
class Problem:
    """One mistake, and where it stands. Lines and columns count from 1."""

    line: int
    column: int
    """In characters of the file."""
    message: str

    def __str__(self) -> str:
        return f"line {self.line}, column {self.column}: {self.message}"


class Problems:
    """Mistakes as they are found: those that come first in the file are kept, the rest counted."""

    def __init__(self, plural: str = "mistakes") -> None:
        """`plural`: what they are called."""
        self.count = 0
        self._plural = plural
        self._first: list[Problem] = []

    def add(self, *problems: Problem) -> None:
        """Take these too, in any order."""
        for problem in problems:
            self.count += 1
            insort(self._first, problem)
            # One more than is told: if there is no other, it is told as well.
            del self._first[MAX_PROBLEMS + 1 :]

    def told(self) -> tuple[Problem, ...]:
        """In file order, no more than MAX_PROBLEMS, and then how many more there are."""
        more = self.count - MAX_PROBLEMS
        if more <= 1:
            return tuple(self._first)
        *first, next_one = self._first
        message = f"from here on there are {more} more {self._plural}"
        return (*first, Problem(next_one.line, next_one.column, message))
