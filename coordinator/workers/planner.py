"""Programs read, checked and planned in a process of their own, one at a time.

A long program takes seconds. In the coordinator's own process that would hold up the exchange
with the joints, threads or not, and the arm would come to rest by its permit.

The process that has planned a program goes on making its moves while it is played (`Making`), and
another begins for whatever is asked meanwhile: nothing that is checked delays what moves.
"""

import asyncio
import contextlib
import hashlib
import os
import time
from collections.abc import AsyncIterator, Callable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from multiprocessing.connection import Connection
from multiprocessing.context import SpawnProcess
from typing import Any, Final, TypeVar

import orjson

from coordinator.codes.refusal import RefusalCode
from coordinator.config.arm import Arm
from coordinator.config.problems import MAX_PROBLEMS
from coordinator.core.events import Refused
from coordinator.motion import Part
from coordinator.motion.check import check_parts
from coordinator.motion.curves import Curves, curves
from coordinator.motion.edges import EdgesError
from coordinator.motion.entry import read_route, way_to_line
from coordinator.motion.feeding import Fed, needs_of, pieces_of
from coordinator.motion.outputs import ToolNeed
from coordinator.motion.plan import checked_parts, plan_text
from coordinator.motion.route import Pose, pose_at, pose_of
from coordinator.programs import (
    NO_SWITCHES,
    Problem,
    Program,
    ProgramError,
    Switches,
    read_program,
)
from coordinator.programs.loops import ONCE, Loops
from coordinator.programs.progress import Progress, Stage, Tell, untold
from coordinator.programs.words import count_lines
from coordinator.teaching.program import ReadVisit, from_program
from coordinator.teaching.shifted_text import ShiftedText, shifted_text
from coordinator.workers.processes import SPAWN, end_child, start_child

Result = TypeVar("Result")

WAITING: Final = 1
"""Programs that may wait for the one before; more of them are refused."""
TELL_S: Final = 0.2
"""Between two times that a process says how far it is."""
NICENESS: Final = 10
"""Where processors are few, the exchange with the joints goes first (POSIX nice)."""


class PlannerBusy(Exception):
    """Too many programs wait already; the text is a sentence."""


Worker = tuple[SpawnProcess, Connection]


@dataclass(frozen=True, slots=True)
class Outline:
    """What is known of a plan before its moves are made."""

    parts: int
    lines: int
    """Of the text."""
    needs: tuple[ToolNeed, ...]
    first: tuple[Fed, ...]
    """Its first piece."""


class Making:
    """A plan whose moves are being made, in a process that does nothing else. To be closed."""

    def __init__(self, outline: Outline, worker: Worker, back: Callable[[Worker], None]) -> None:
        self.outline = outline
        self._worker = worker
        self._back = back
        self._thread = ThreadPoolExecutor(1, thread_name_prefix="plan")

    async def more(self) -> tuple[Fed, ...] | None:
        """The next piece, None behind the last. Raises EOFError or OSError if the process ends."""
        loop = asyncio.get_running_loop()
        return await loop.run_in_executor(self._thread, _exchange, self._worker[1], None, ())

    async def close(self) -> None:
        """Nothing more is asked of it; the process is there for the next program."""
        # Behind what is asked still, so that its answer is nobody else's.
        await asyncio.get_running_loop().run_in_executor(self._thread, int)
        self._thread.shutdown()
        self._back(self._worker)


class Planner:
    """One arm's planner. Its process begins with the first program; `close` ends it.

    To be used from the main thread, in a running loop. Everything raises PlannerBusy when too many
    programs wait, and Refused when the process dies.
    """

    def __init__(self, arm: Arm) -> None:
        self._arm = arm
        self._asked = 0
        # One thread, so that one program is asked for at a time, whoever gives up waiting.
        self._thread = ThreadPoolExecutor(1, thread_name_prefix="planner")
        self._worker: Worker | None = None
        self._turn = asyncio.Lock()
        self._making: set[SpawnProcess] = set()
        """Processes that make a plan that is played."""
        self._is_closed = False

    async def check(
        self,
        text: str,
        start_deg: Sequence[float] | None,
        switches: Switches = NO_SWITCHES,
        tell: Tell = untold,
        half_widths_deg: Mapping[str, float] | None = None,
    ) -> bytes:
        """What a program would do from there, or from `park`, as JSON."""
        return await self._ask(tell, _check, text, start_deg, switches, half_widths_deg)

    async def plan(
        self,
        text: str,
        start_counts: Sequence[int] | None,
        loops: Loops = ONCE,
        switches: Switches = NO_SWITCHES,
        tell: Tell = untold,
    ) -> Making | None:
        """The plan of a program, played so often without a rest between loops, from where the
        joints stand, which is made on.

        None where that is unknown, and where there is nothing to play.

        Raises ProgramError with the mistakes that `check` finds, also where nobody knows where the
        joints stand.
        """
        async with self._asking(tell):
            found = await self._exchanged(tell, _plan, (text, start_counts, loops, switches))
            if isinstance(found, list):
                raise ProgramError(found)
            if found is None:
                return None
            assert self._worker is not None
            worker, self._worker = self._worker, None
            self._making.add(worker[0])
            return Making(found, worker, self._back)

    async def plan_loops(
        self,
        text: str,
        start_counts: Sequence[int] | None,
        loops: Loops,
        switches: Switches = NO_SWITCHES,
        half_widths_deg: Mapping[str, float] | None = None,
        tell: Tell = untold,
    ) -> tuple[Part, ...]:
        """The parts of a program, as `plan_text` says, from where the joints stand: whole, for
        loops that are apart. Empty where that is unknown. Raises ProgramError as `plan` does, and
        EdgesError.
        """
        found = await self._ask(
            tell, _plan_loops, text, start_counts, loops, switches, half_widths_deg
        )
        if isinstance(found, EdgesError):
            raise found
        if isinstance(found, list):
            raise ProgramError(found)
        return found

    async def curves(
        self,
        text: str,
        start_deg: Sequence[float] | None,
        switches: Switches = NO_SWITCHES,
        tell: Tell = untold,
    ) -> Curves:
        """What each joint does over time, from there or from `park`. Raises ProgramError."""
        found = await self._ask(tell, _curves, text, start_deg, switches)
        if isinstance(found, list):
            raise ProgramError(found)
        return found

    async def way(
        self, text: str, start_counts: Sequence[int], switches: Switches
    ) -> dict[str, float]:
        """By joint the angle at which a line of a program begins. Raises ProgramError."""
        found = await self._ask(untold, _way, text, start_counts, switches)
        if isinstance(found, list):
            raise ProgramError(found)
        return found

    async def shifted(self, text: str, offsets_deg: Mapping[str, float]) -> ShiftedText:
        """A program whose absolute angles are shifted joint by joint."""
        return await self._ask(untold, _shifted, text, dict(offsets_deg))

    async def read_visits(self, text: str) -> tuple[list[ReadVisit], list[Problem]]:
        """The visits that a program makes, and all that keeps it from being a sequence."""
        return await self._ask(untold, _read_visits, text)

    async def close(self) -> None:
        """End the processes. Who still waits is refused."""
        self._is_closed = True
        processes = [*self._making, *([self._worker[0]] if self._worker is not None else [])]
        for process in processes:
            await asyncio.to_thread(end_child, process)
        self._thread.shutdown()

    async def _ask(self, tell: Tell, work: Callable[..., Result], *arguments: Any) -> Result:
        async with self._asking(tell):
            return await self._exchanged(tell, work, arguments)

    @contextlib.asynccontextmanager
    async def _asking(self, tell: Tell) -> AsyncIterator[None]:
        """One after another, so that what one leaves of the process is known to the next."""
        if self._asked > WAITING:
            raise PlannerBusy(f"{self._asked} programs are being checked already; try again later")
        self._asked += 1
        if self._turn.locked():
            tell(Progress(Stage.WAITING, 0, 0))
        try:
            async with self._turn:
                yield
        finally:
            self._asked -= 1

    async def _exchanged(
        self, tell: Tell, work: Callable[..., Result], arguments: tuple[Any, ...]
    ) -> Result:
        worker = self._worker = self._worker or self._begun()
        loop = asyncio.get_running_loop()

        def hear(progress: Progress) -> None:
            loop.call_soon_threadsafe(tell, progress)

        try:
            return await loop.run_in_executor(
                self._thread, _exchange, worker[1], work, arguments, hear
            )
        except asyncio.CancelledError:
            # Whatever it is at, its process is rid of it at once; the next program gets another.
            if self._worker is worker:
                self._worker = None
            await asyncio.to_thread(end_child, worker[0])
            raise
        except (EOFError, OSError) as error:
            if self._worker is worker:
                self._worker = None
            raise Refused(
                RefusalCode.PLANNER, "the process that checks programs ended; try again"
            ) from error

    def _back(self, worker: Worker) -> None:
        """A process that has made a plan is there again, unless there is another by now."""
        self._making.discard(worker[0])
        if self._worker is None and not self._is_closed and worker[0].is_alive():
            self._worker = worker
        else:
            worker[1].close()  # which ends it

    def _begun(self) -> Worker:
        ours, theirs = SPAWN.Pipe()
        with theirs:
            return start_child(_serve, self._arm, theirs, daemon=True), ours


def _exchange(
    pipe: Connection,
    work: Callable[..., Any] | None,
    arguments: tuple[Any, ...],
    hear: Tell = untold,
) -> Any:
    """What a process answers; without work, the next piece of the plan that it makes."""
    text, *others = arguments or ("",)
    pipe.send((work, others))
    # As bytes, so that nobody in this process waits while a long one is on its way.
    pipe.send_bytes(text.encode("utf-8", "surrogatepass"))
    while isinstance(answer := pipe.recv(), Progress):
        hear(answer)
    return answer


# ---- in the process of its own ------------------------------------------------------------


def _serve(arm: Arm, pipe: Connection) -> None:
    os.nice(NICENESS)
    # Whoever started this process closes the pipe by ending.
    pieces: Iterator[tuple[Fed, ...]] = iter(())
    tell = _Telling(pipe)
    with contextlib.suppress(EOFError, BrokenPipeError):
        while True:
            work, arguments = pipe.recv()
            text = pipe.recv_bytes().decode("utf-8", "surrogatepass")
            if work is None:
                pipe.send(next(pieces, None))
                continue
            pieces = iter(())  # of a plan that was given up, or is done
            answer: Any = work(arm, text, tell, *arguments)
            if isinstance(answer, _Begun):
                answer, pieces = answer.outline, answer.pieces
            pipe.send(answer)
            del work, text, arguments, answer


class _Telling:
    """Sends how far it is, but not so often that whoever hears of it has no time for the arm."""

    def __init__(self, pipe: Connection) -> None:
        self._pipe = pipe
        self._last_s = time.monotonic()

    def __call__(self, progress: Progress) -> None:
        """It is so far."""
        if (now_s := time.monotonic()) - self._last_s >= TELL_S:
            self._last_s = now_s
            self._pipe.send(progress)


@dataclass(frozen=True, slots=True)
class _Read:
    """A program as it was read, from there and with these switches."""

    what: tuple[bytes, Pose, Switches]
    program: Program
    problems: tuple[Problem, ...]
    parts: tuple[Part, ...]
    """Empty where it has problems."""
    needs: tuple[ToolNeed, ...]
    lines: int


_latest: list[_Read] = []
"""What was read last: who plays what was checked does not wait for that again."""


def _read(arm: Arm, text: str, start: Pose, switches: Switches, tell: Tell = untold) -> _Read:
    digest = hashlib.sha256(text.encode("utf-8", "surrogatepass")).digest()
    if not _latest or _latest[0].what != (digest, start, switches):
        _latest.clear()
        parts: tuple[Part, ...] = ()
        program, problems = read_route(text, arm, start, switches, tell)
        if not problems:
            parts, problems = checked_parts(program, arm, start, switches=switches, tell=tell)
        what, needs, lines = (digest, start, switches), needs_of(parts), count_lines(text)
        _latest.append(_Read(what, program, problems, parts, needs, lines))
    return _latest[0]


def _program(arm: Arm, text: str, tell: Tell, *, block_delete: bool) -> Program:
    """A program as it was read last, wherever it began; else read anew. Raises ProgramError."""
    digest = hashlib.sha256(text.encode("utf-8", "surrogatepass")).digest()
    for read in _latest:
        if (read.what[0], read.what[2].block_delete) == (digest, block_delete) and read.parts:
            return read.program
    program, problems = read_program(text, arm.letters, block_delete=block_delete, tell=tell)
    if problems.count:
        raise ProgramError(problems.told())
    return program


def _check(
    arm: Arm,
    text: str,
    tell: Tell,
    start_deg: Sequence[float] | None,
    switches: Switches,
    half_widths_deg: Mapping[str, float] | None = None,
) -> bytes:
    begins = "park" if start_deg is None else "here"
    start = pose_of(arm, arm.poses["park"] if start_deg is None else start_deg)
    read = _read(arm, text, start, switches, tell)
    found = check_parts(
        read.program, read.problems, read.parts, arm, start, begins, tell, half_widths_deg
    )
    return orjson.dumps(found)


@dataclass(frozen=True, slots=True)
class _Begun:
    """A plan of which the first piece is made."""

    outline: Outline
    pieces: Iterator[tuple[Fed, ...]]


def _plan(
    arm: Arm,
    text: str,
    tell: Tell,
    start_counts: Sequence[int] | None,
    loops: Loops,
    switches: Switches,
) -> Any:
    """A `_Begun`, problems, or None: see `Planner.plan`."""
    try:
        if start_counts is None:
            # From where `_check` begins; there is nothing to plan.
            park = pose_of(arm, arm.poses["park"])
            return list(read_route(text, arm, park, switches, tell)[1]) or None
        start = pose_at(arm, start_counts)
        if loops == ONCE:
            read = _read(arm, text, start, switches, tell)
            if read.problems:
                return list(read.problems)
            parts, needs, lines = read.parts, read.needs, read.lines
        else:
            parts = plan_text(text, arm, start, loops, switches, ahead=False, tell=tell)
            needs, lines = needs_of(parts), count_lines(text)
        pieces = pieces_of(parts)
        outline = Outline(len(parts), lines, needs, next(pieces))
        return _Begun(outline, pieces)
    except ProgramError as error:
        return list(error.problems)  # the error itself does not pickle


def _plan_loops(
    arm: Arm,
    text: str,
    tell: Tell,
    start_counts: Sequence[int] | None,
    loops: Loops,
    switches: Switches,
    half_widths_deg: Mapping[str, float] | None,
) -> tuple[Part, ...] | list[Problem] | EdgesError:
    try:
        if start_counts is not None:
            start = pose_at(arm, start_counts)
            return plan_text(text, arm, start, loops, switches, half_widths_deg, tell=tell)
        park = pose_of(arm, arm.poses["park"])
        return list(read_route(text, arm, park, switches, tell)[1]) or ()
    except EdgesError as error:
        return error
    except ProgramError as error:
        return list(error.problems)  # the error itself does not pickle


def _curves(
    arm: Arm, text: str, tell: Tell, start_deg: Sequence[float] | None, switches: Switches
) -> Curves | list[Problem]:
    try:
        return curves(text, arm, start_deg, switches, tell)
    except ProgramError as error:
        return list(error.problems)


def _way(
    arm: Arm, text: str, tell: Tell, start_counts: Sequence[int], switches: Switches
) -> dict[str, float] | list[Problem]:
    try:
        assert switches.from_line is not None, "a line is asked for"
        program = _program(arm, text, tell, block_delete=switches.block_delete)
        return way_to_line(program, arm, pose_at(arm, start_counts), switches.from_line)
    except ProgramError as error:
        return list(error.problems)


def _shifted(arm: Arm, text: str, _tell: Tell, offsets_deg: Mapping[str, float]) -> ShiftedText:
    return shifted_text(text, arm, offsets_deg)


def _read_visits(arm: Arm, text: str, _tell: Tell) -> tuple[list[ReadVisit], list[Problem]]:
    visits, problems = from_program(text, arm)
    return visits, problems[: MAX_PROBLEMS + 1]
