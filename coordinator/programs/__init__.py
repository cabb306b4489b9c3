"""Programs as text: reading the words of RS-274/NGC into steps. Pure."""

from coordinator.programs.interpreter import parse_program, read_program
from coordinator.programs.problems import Problem, ProgramError
from coordinator.programs.steps import Dwell, End, Move, Pause, Program, Step, Target

__all__ = [
    "Dwell",
    "End",
    "Move",
    "Pause",
    "Problem",
    "Program",
    "ProgramError",
    "Step",
    "Target",
    "parse_program",
    "read_program",
]
