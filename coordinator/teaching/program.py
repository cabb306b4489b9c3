"""A sequence as a program of RS-274/NGC text, and a program read as visits.

Each visit is one line `G0` with the angles of all joints and the waypoint's name as its comment.
A share of full speed is an active comment, passing through is G64, outputs and dwell have lines of
their own behind it. Reading what was written gives the same visits again.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal

from coordinator.config.arm import Arm
from coordinator.motion.check import unread
from coordinator.motion.route import MAX_STEP_S, legs_problems, pose_of
from coordinator.programs import (
    Dwell,
    End,
    Move,
    Output,
    PathControl,
    Problem,
    Program,
    Step,
    Target,
    print_program,
    read_program,
)
from coordinator.programs.active import share_of
from coordinator.teaching.taught import (
    DIGITS,
    Sequence,
    Taught,
    TaughtError,
    Visit,
    Waypoint,
    a_name,
    rounded,
)


@dataclass(frozen=True, slots=True)
class ReadVisit:
    """A visit as a program tells it; `visit.waypoint` means nothing yet."""

    line: int
    name: str
    """Of the waypoint; empty where the line has no comment."""
    angles_deg: Mapping[str, float]
    visit: Visit


def to_program(sequence: Sequence, taught: Taught, arm: Arm) -> str:
    """The text. Raises TaughtError for a waypoint that was taught without one of the joints."""
    steps: list[Step] = []
    for visit in sequence.visits:
        steps += _steps(visit, taught.waypoints[visit.waypoint], arm)
    return print_program([*steps, End(0)], arm.words, f"sequence {sequence.name}")


def _steps(visit: Visit, waypoint: Waypoint, arm: Arm) -> Iterator[Step]:
    """Without lines and columns."""
    yield Move(
        line=0,
        column=0,
        targets=tuple(_targets(waypoint, arm)),
        relative=False,
        rapid=True,
        share=share_of(Decimal(repr(visit.speed_percent))),
        path_control=PathControl.CONTINUOUS if visit.passing else PathControl.EXACT_STOP,
        comment=waypoint.name,
    )
    for word in visit.outputs:
        yield Output(0, 0, word)
    if visit.dwell_s:
        yield Dwell(0, 0, visit.dwell_s)


def _targets(waypoint: Waypoint, arm: Arm) -> Iterator[Target]:
    for index, joint in enumerate(arm.joints):
        angle = waypoint.angles_deg.get(joint.name)
        if angle is None:
            raise TaughtError(
                f"waypoint {waypoint.name!r} was taught without an angle of {joint.name}: "
                "overwrite it"
            )
        yield Target(index, angle, 0)


def from_program(text: str, arm: Arm) -> tuple[list[ReadVisit], list[Problem]]:
    """The visits that a program makes, and all that keeps it from being a sequence."""
    program, found = read_program(text, arm.letters)
    start = pose_of(arm, arm.poses["park"])
    problems = [*found.told(), *legs_problems(program.steps, arm, start), *unread(program)]
    reader = _Reader(arm)
    reader.read(program)
    problems += reader.problems
    return reader.visits, sorted(set(problems))


class _Reader:
    def __init__(self, arm: Arm) -> None:
        self.visits: list[ReadVisit] = []
        self.problems: list[Problem] = []
        self._arm = arm
        self._angles: dict[str, float] = {}
        self._lines: dict[str, ReadVisit] = {}
        """The first visit of each name."""

    def read(self, program: Program) -> None:
        for step in program.steps:
            match step:
                case Move():
                    self._move(step)
                case Output() if not self.visits:
                    self._problem(step, "a sequence begins with a waypoint, not with an output")
                case Output() if self.visits[-1].visit.dwell_s:
                    self._problem(step, "in a sequence outputs are switched before the dwell")
                case Output():
                    visit = self.visits[-1].visit
                    self._set(replace(visit, outputs=(*visit.outputs, step.word)))
                case Dwell() if not self.visits:
                    self._problem(step, "a sequence begins with a waypoint, not with a dwell")
                case Dwell():
                    visit = self.visits[-1].visit
                    self._set(replace(visit, dwell_s=round(visit.dwell_s + step.seconds, DIGITS)))
                    if visit.dwell_s and visit.dwell_s + step.seconds > MAX_STEP_S:
                        told = f"dwells of {visit.dwell_s + step.seconds:g} s in one place"
                        self._problem(step, f"{told}, the limit is {MAX_STEP_S:.0f} s")
                case End():
                    pass
                case _:
                    self.problems.append(
                        Problem(step.line, 1, "a sequence has no pause M0, M1 or M60")
                    )

    def _set(self, visit: Visit) -> None:
        self.visits[-1] = replace(self.visits[-1], visit=visit)

    def _problem(self, step: Move | Dwell | Output, message: str) -> None:
        self.problems.append(Problem(step.line, step.column, message))

    def _move(self, move: Move) -> None:
        if not move.rapid:
            self._problem(move, "a sequence's moves are G0, with (UNISONO, speed …) for a share")
        for target in move.targets:
            name = self._arm.joints[target.joint].name
            if move.relative and name not in self._angles:
                continue  # told below as missing
            origin = self._angles[name] if move.relative else 0.0
            self._angles[name] = origin + target.degrees
        missing = [joint for joint in self._arm.joints if joint.name not in self._angles]
        if missing:
            words = " ".join(joint.word for joint in missing)
            self._problem(move, f"{words} is missing: no sequence depends on where the arm stands")
            # Told once: what follows is read as if it stood at 0°.
            self._angles.update({joint.name: 0.0 for joint in missing})
        self._visit(move)

    def _visit(self, move: Move) -> None:
        speed = round(move.share * 100, DIGITS)
        if speed == 0.0:
            self._problem(move, f"a speed of {move.share * 100:g} %: 0.00001 is the least")
        if move.tolerance_deg is not None:
            self._problem(move, "a sequence's G64 has no P: the arm file's tolerance counts")
        is_passing = move.path_control is PathControl.CONTINUOUS
        visit = Visit(0, speed_percent=speed, passing=is_passing)
        read = ReadVisit(move.line, move.comment, rounded(self._angles), visit)
        if read.name:
            try:
                read = replace(read, name=a_name(read.name, "waypoint"))
            except TaughtError as error:
                self._problem(move, str(error))
            first = self._lines.setdefault(read.name.casefold(), read)
            if first.angles_deg != read.angles_deg:
                self._problem(move, f"waypoint {read.name!r} has other angles on line {first.line}")
        self.visits.append(read)
