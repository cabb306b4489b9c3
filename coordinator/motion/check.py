"""What a program would do, found without an arm: behind `unisono check`."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Generic, TypeVar

from coordinator.config.arm import Arm
from coordinator.health.supply_chain import supply_remark
from coordinator.motion.entry import read_route
from coordinator.motion.plan import Part, checked_parts, edges_s
from coordinator.motion.points import CornerLimit, PassedCorner, PlannedMove
from coordinator.motion.reversal import has_approach
from coordinator.motion.route import Leg, Pose, pace, pose_of
from coordinator.motion.seam import Seam, seam
from coordinator.programs import NO_SWITCHES, Move, Problem, Program, Switches
from coordinator.programs.progress import Stage, Tell, counted, untold
from protocol.constants import US

T = TypeVar("T")
MOST_TOLD: Final = 50_000
"""Moves that are told one by one, as slower moves and corners are."""


@dataclass(frozen=True, slots=True)
class CheckedMove:
    """One move as it would be made."""

    line: int
    target: dict[str, float]
    """Degrees by the joints' letters in the program, base to tool, of all joints."""
    rapid: bool
    duration_s: float
    """Of path time, at full rate. 0 where the arm is there already."""
    approach: bool = False
    """It leads slowly to where the program would be as the line begins from which it is played; a
    pause follows."""
    overtravel: tuple[str, ...] = ()
    """Joints that turn beyond its end and back, to arrive from their approach side."""
    overtravel_s: float = 0.0
    """Of its time, how long that takes: out and back; where G0 goes straight beyond, back."""


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
class SlowerCorner:
    """Where the end of a move in G64 is passed more slowly than the program asks."""

    line: int
    asked_deg_s: float
    """Along the path, on the slower of the two moves that meet there."""
    passed_deg_s: float
    """0 where the arm stops."""
    limit: CornerLimit
    joint: str | None
    """Whose acceleration it is; None for another limit."""

    @property
    def why(self) -> str:
        """The limit, a clause for people."""
        match self.limit:
            case CornerLimit.TOLERANCE:
                return "faster it would leave the tolerance"
            case CornerLimit.ACCELERATION:
                return f"{self.joint} has no more acceleration for so short a turn"
            case CornerLimit.WAY:
                return "the moves beside it are too short to get faster and to brake in"


@dataclass(frozen=True, slots=True)
class Overtravels:
    """What is done in a whole program so that joints arrive from their approach side."""

    stops: int
    """Moves at whose ends some joint overtravels."""
    duration_s: float
    """What that takes, of the program's time, without what a longer G0 does."""
    joints: tuple[str, ...]
    """That do so somewhere, base to tool."""
    passed: int
    """Ends that are passed, where nothing is done against reversal error."""


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
    corners: tuple[SlowerCorner, ...]
    errors: tuple[Problem, ...]
    remarks: tuple[Problem, ...]
    """What is no mistake, but may not be meant."""
    more: dict[str, int]
    """Of `moves`, `slower` and `corners`, how many more there are than MOST_TOLD, where there are
    any: an answer must not grow with them."""
    overtravel: Overtravels | None = None
    """None for an arm without approach sides, and for a program with errors."""
    seam: Seam | None = None
    """With what another loop would begin; None where each ends as it begins."""
    pauses: int | None = None
    """How often it waits for somebody to resume, with these switches; None with errors."""
    edges_s: float | None = None
    """How long one check of home edges takes between two loops, where it ends; None where it cannot
    be made or nobody knows, and with errors."""


def check_program(
    text: str,
    arm: Arm,
    start_deg: Sequence[float] | None = None,
    switches: Switches = NO_SWITCHES,
    tell: Tell = untold,
    half_widths_deg: Mapping[str, float] | None = None,
) -> CheckResult:
    """Read and plan a program for an arm that begins at `start_deg`, by default at its pose `park`.

    `half_widths_deg` is half the width of the home sensor of each joint of which it is known.
    Never raises for anything in the text. Raises ValueError unless `start_deg` has one angle for
    each joint.
    """
    begins = "park" if start_deg is None else "here"
    start = pose_of(arm, arm.poses["park"] if start_deg is None else start_deg)
    program, errors = read_route(text, arm, start, switches, tell)
    parts: tuple[Part, ...] = ()
    if not errors:
        parts, errors = checked_parts(program, arm, start, switches=switches, tell=tell)
    return check_parts(program, errors, parts, arm, start, begins, tell, half_widths_deg)


def check_parts(
    program: Program,
    errors: tuple[Problem, ...],
    parts: Sequence[Part],
    arm: Arm,
    start: Pose,
    begins: str,
    tell: Tell = untold,
    half_widths_deg: Mapping[str, float] | None = None,
) -> CheckResult:
    """The outcome for a program that was read, and its parts unless it has errors."""
    remarks = (*program.remarks, *unread(program))
    if errors:
        return CheckResult(False, begins, None, (), (), (), errors, remarks, {})
    duration_us, end = 0, start
    moves_line: int | None = None
    moves: _Told[CheckedMove] = _Told()
    slower: _Told[SlowerMove] = _Told()
    corners: _Told[SlowerCorner] = _Told()
    overtravels = _Overtravels(arm)
    planned = ((leg, move) for part in parts for leg, move in _planned(part))
    count = sum(len(part.steps) for part in parts)
    for leg, move in counted(planned, Stage.PLANNING, count, tell):
        duration_us += move.duration_us
        end = leg.end
        if moves_line is None and leg.goes:
            moves_line = leg.step.line
        if move.dwell or move.switch is not None:
            continue
        moves.add(_checked(program, leg, move, arm))
        overtravels.count(move)
        if move.slowed:
            slower.add(*_slower(arm, leg, move.duration_us - move.overtravel_us))
        if move.corner is not None and move.corner.is_slowed:
            corners.add(_corner(arm, move, move.corner))
    more = {"moves": moves.more, "slower": slower.more, "corners": corners.more}
    return CheckResult(
        ok=True,
        begins=begins,
        duration_s=duration_us / US,
        moves=tuple(moves.first),
        slower=tuple(slower.first),
        corners=tuple(corners.first),
        errors=(),
        remarks=(*remarks, *_supply(arm, moves_line)),
        more={name: count for name, count in more.items() if count},
        overtravel=overtravels.told() if has_approach(arm) else None,
        seam=seam(program, arm, start, end),
        pauses=sum(part.pause_line is not None for part in parts),
        edges_s=edges_s(arm, half_widths_deg or {}, end),
    )


def _planned(part: Part) -> Iterator[tuple[Leg, PlannedMove]]:
    return zip(part.legs(), part.moves(), strict=True)


def _supply(arm: Arm, moves_line: int | None) -> Iterator[Problem]:
    """Where the arm begins to move, if its supply is short for that."""
    sentence = None if moves_line is None else supply_remark(arm)
    if moves_line is not None and sentence is not None:
        yield Problem(moves_line, 1, sentence)


class _Overtravels:
    """Where joints overtravel, over all moves."""

    def __init__(self, arm: Arm) -> None:
        self._arm = arm
        self._stops = self._passed = self._duration_us = 0
        self._joints: set[int] = set()

    def count(self, move: PlannedMove) -> None:
        """One more move."""
        self._passed += move.is_passed
        if move.overtravel:
            self._stops += 1
            self._duration_us += move.overtravel_us
            self._joints.update(move.overtravel)

    def told(self) -> Overtravels:
        """All of them."""
        joints = tuple(self._arm.joints[k].name for k in sorted(self._joints))
        return Overtravels(self._stops, self._duration_us / US, joints, self._passed)


class _Told(Generic[T]):
    """The first of many, and how many more there are."""

    def __init__(self) -> None:
        self.first: list[T] = []
        self.more = 0

    def add(self, *found: T) -> None:
        """Take these too."""
        for one in found:
            if len(self.first) < MOST_TOLD:
                self.first.append(one)
            else:
                self.more += 1


def unread(program: Program) -> Iterator[Problem]:
    """Where what is not read begins, if there is such a thing."""
    if program.unread_line is not None:
        end = program.steps[-1].line
        message = f"from here on nothing is read: the program ends on line {end}"
        yield Problem(program.unread_line, 1, message)


def _corner(arm: Arm, move: PlannedMove, corner: PassedCorner) -> SlowerCorner:
    assert corner.limit is not None
    return SlowerCorner(
        line=move.line,
        asked_deg_s=corner.asked_deg_s,
        passed_deg_s=corner.passed_deg_s,
        limit=corner.limit,
        joint=None if corner.joint is None else arm.joints[corner.joint].name,
    )


def _checked(program: Program, leg: Leg, move: PlannedMove, arm: Arm) -> CheckedMove:
    # 9 digits hide what adding distances leaves behind the last digit that a count resolves.
    angles = (round(angle, 9) for angle in leg.end.degrees)
    target = dict(zip(program.letters, angles, strict=True))
    approach = isinstance(leg.step, Move) and leg.step.approach
    return CheckedMove(
        leg.step.line,
        target,
        move.rapid,
        move.duration_us / US,
        approach,
        tuple(arm.joints[k].name for k in move.overtravel),
        move.overtravel_us / US,
    )


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
