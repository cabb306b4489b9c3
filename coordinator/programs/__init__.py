"""Programs as text: reading the words of RS-274/NGC into steps. Pure."""

from coordinator.config.problems import Problem, Problems
from coordinator.programs.error import ProgramError
from coordinator.programs.printing import print_program
from coordinator.programs.reader import Reader, parse_program, read_program
from coordinator.programs.steps import (
    NO_SWITCHES,
    Dwell,
    End,
    Move,
    Output,
    PathControl,
    Pause,
    Program,
    Step,
    Switches,
    Target,
)

__all__ = [
    "NO_SWITCHES",
    "Dwell",
    "End",
    "Move",
    "Output",
    "PathControl",
    "Pause",
    "Problem",
    "Problems",
    "Program",
    "ProgramError",
    "Reader",
    "Step",
    "Switches",
    "Target",
    "parse_program",
    "print_program",
    "read_program",
]
