"""A program that cannot be executed."""

from collections.abc import Iterable

from coordinator.config.problems import Problem


class ProgramError(ValueError):
    """A program that cannot be executed. `problems` holds what is told of its mistakes, in file
    order, `of` which program they are.
    """

    def __init__(self, problems: Iterable[Problem], of: str = "the program") -> None:
        self.of = of
        self.problems = tuple(sorted(problems))
        super().__init__("\n".join(str(problem) for problem in self.problems))
