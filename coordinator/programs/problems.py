"""What can be wrong with a program."""

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, order=True)
class Problem:
    """One mistake in a program, and where it stands. Lines and columns count from 1."""

    line: int
    column: int
    """In characters of the file."""
    message: str

    def __str__(self) -> str:
        return f"line {self.line}, column {self.column}: {self.message}"


class ProgramError(ValueError):
    """A program that cannot be executed. `problems` holds all its mistakes in file order."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(sorted(problems))
        super().__init__("\n".join(str(problem) for problem in self.problems))
