"""What a program would do, found without an arm: behind `unisono check`."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from coordinator.arm import Arm
from coordinator.motion.plan import parts_from
from coordinator.motion.route import Leg, pace, pose_of, read_route
from coordinator.programs import Problem, Program
from protocol.constants import US


@dataclass(frozen=True, slots=True)
class CheckedMove:
    """One move as it would be made."""

    line: int
    target: dict[str, float]
    """Degrees by joint letter, base to tool, of all joints."""
    rapid: bool
    duration_s: float
    """Of path time, at full rate. 0 where the arm is there already."""


@dataclass(frozen=True, slots=True)
class SlowerMove:
    """A move that a joint's velocity limit makes slower than the program asks."""

    line: int
    joint: str
    velocity_deg_s: float
    """The joint's limit."""
    asked_deg_s: float
    """What the program asks of that joint."""
    asked_s: float
    """The move's time as asked, without what acceleration adds."""
    duration_s: float
    """The move's time as it would be made."""


@dataclass(frozen=True, slots=True)
class CheckResult:
    """The outcome for one program and arm. `dataclasses.asdict` makes it fit for JSON."""

    ok: bool
    begins: str
    """Where the arm was taken to begin: `here`, or at its pose `park`."""
    duration_s: float | None
    """Path time of all parts together, without pauses; None unless the program is free of
    errors."""
    moves: tuple[CheckedMove, ...]
    slower: tuple[SlowerMove, ...]
    errors: tuple[Problem, ...]
    remarks: tuple[Problem, ...]
    """What is no mistake, but may not be meant."""


def check_program(text: str, arm: Arm, start_deg: Sequence[float] | None = None) -> CheckResult:
    """Read and plan a program for an arm that begins at `start_deg`, by default at its pose `park`.

    Never raises for anything in the text. Raises ValueError unless `start_deg` has one angle for
    each joint.
    """
    begins = "park" if start_deg is None else "here"
    start = pose_of(arm, arm.poses["park"] if start_deg is None else start_deg)
    program, errors = read_route(text, arm, start)
    remarks = tuple(_remarks(program))
    if errors:
        return CheckResult(False, begins, None, (), (), tuple(errors), remarks)
    duration_us = 0
    moves: list[CheckedMove] = []
    slower: list[SlowerMove] = []
    for part in parts_from(program, arm, start):
        for leg, move in zip(part.legs(), part.moves(), strict=True):
            duration_us += move.duration_us
            if move.dwell:
                continue
            moves.append(_checked(arm, leg, move.duration_us, move.rapid))
            if move.slowed:
                slower += _slower(arm, leg, move.duration_us)
    return CheckResult(True, begins, duration_us / US, tuple(moves), tuple(slower), (), remarks)


def _remarks(program: Program) -> Iterator[Problem]:
    if program.unread_line is not None:
        end = program.steps[-1].line
        message = f"from here on nothing is read: the program ends on line {end}"
        yield Problem(program.unread_line, 1, message)


def _checked(arm: Arm, leg: Leg, duration_us: int, rapid: bool) -> CheckedMove:
    # 9 digits hide what adding distances leaves behind the last digit that a count resolves.
    angles = (round(angle, 9) for angle in leg.end.degrees)
    target = dict(zip(arm.words, angles, strict=True))
    return CheckedMove(leg.step.line, target, rapid, duration_us / US)


def _slower(arm: Arm, leg: Leg, duration_us: int) -> Iterator[SlowerMove]:
    speed = pace(leg, arm)
    if speed.asked_s is None:
        return
    joint = arm.joints[speed.slowest]
    turn = abs(leg.end.degrees[speed.slowest] - leg.start.degrees[speed.slowest])
    yield SlowerMove(
        line=leg.step.line,
        joint=joint.name,
        velocity_deg_s=joint.velocity_deg_s,
        asked_deg_s=turn / speed.asked_s,
        asked_s=speed.asked_s,
        duration_s=duration_us / US,
    )
