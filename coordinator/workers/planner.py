"""Programs read, checked and planned in a process of their own, one at a time.

A long program takes seconds. In the coordinator's own process that would hold up the exchange
with the joints, threads or not, and the arm would come to rest by its permit.
"""

import asyncio
import contextlib
import os
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from multiprocessing.connection import Connection
from multiprocessing.context import SpawnProcess
from multiprocessing.reduction import ForkingPickler
from types import MappingProxyType
from typing import Any, Final, TypeVar

import orjson

from coordinator.codes.refusal import RefusalCode
from coordinator.config.arm import Arm
from coordinator.core.events import Refused
from coordinator.motion import Part, check_program
from coordinator.motion.curves import Curves, curves
from coordinator.motion.entry import read_route, way_to_line
from coordinator.motion.plan import plan_text
from coordinator.motion.route import pose_at, pose_of
from coordinator.programs import NO_SWITCHES, Problem, ProgramError, Switches
from coordinator.programs.loops import ONCE, Loops
from coordinator.programs.problems import MAX_PROBLEMS
from coordinator.teaching.program import ReadVisit, from_program
from coordinator.teaching.shifted_text import ShiftedText, shifted_text
from coordinator.workers.processes import SPAWN, end_child, start_child

Result = TypeVar("Result")

WAITING: Final = 1
"""Programs that may wait for the one before; more of them are refused."""
NICENESS: Final = 10
"""Where processors are few, the exchange with the joints goes first (POSIX nice)."""


class PlannerBusy(Exception):
    """Too many programs wait already; the text is a sentence."""


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
        self._worker: tuple[SpawnProcess, Connection] | None = None

    async def check(
        self, text: str, start_deg: Sequence[float] | None, switches: Switches = NO_SWITCHES
    ) -> bytes:
        """What a program would do from there, or from `park`, as JSON."""
        return await self._ask(_check, text, start_deg, switches)

    async def plan(
        self,
        text: str,
        start_counts: Sequence[int] | None,
        loops: Loops = ONCE,
        switches: Switches = NO_SWITCHES,
        half_widths_deg: Mapping[str, float] | None = None,
    ) -> tuple[Part, ...]:
        """The parts of a program, as `plan_text` says, from where the joints stand.

        None where that is unknown.

        Raises ProgramError with the mistakes that `check` finds, also where nobody knows where the
        joints stand.
        """
        found = await self._ask(_plan, text, start_counts, loops, switches, half_widths_deg)
        if isinstance(found, list):
            raise ProgramError(found)
        return found

    async def curves(
        self, text: str, start_deg: Sequence[float] | None, switches: Switches = NO_SWITCHES
    ) -> Curves:
        """What each joint does over time, from there or from `park`. Raises ProgramError."""
        found = await self._ask(_curves, text, start_deg, switches)
        if isinstance(found, list):
            raise ProgramError(found)
        return found

    async def way(
        self, text: str, start_counts: Sequence[int], switches: Switches
    ) -> dict[str, float]:
        """By joint the angle at which a line of a program begins. Raises ProgramError."""
        found = await self._ask(_way, text, start_counts, switches)
        if isinstance(found, list):
            raise ProgramError(found)
        return found

    async def shifted(self, text: str, offsets_deg: Mapping[str, float]) -> ShiftedText:
        """A program whose absolute angles are shifted joint by joint."""
        return await self._ask(_shifted, text, dict(offsets_deg))

    async def read_visits(self, text: str) -> tuple[list[ReadVisit], list[Problem]]:
        """The visits that a program makes, and all that keeps it from being a sequence."""
        return await self._ask(_read_visits, text)

    async def close(self) -> None:
        """End the process. Who still waits is refused."""
        if self._worker is not None:
            await asyncio.to_thread(end_child, self._worker[0])
        self._thread.shutdown()

    async def _ask(self, work: Callable[..., Result], *arguments: Any) -> Result:
        if self._asked > WAITING:
            raise PlannerBusy(f"{self._asked} programs are being checked already; try again later")
        self._asked += 1
        worker = self._worker = self._worker or self._begun()
        try:
            return await asyncio.get_running_loop().run_in_executor(
                self._thread, _exchange, worker[1], work, arguments
            )
        except (EOFError, OSError) as error:
            if self._worker is worker:
                self._worker = None
            raise Refused(
                RefusalCode.PLANNER, "the process that checks programs ended; try again"
            ) from error
        finally:
            self._asked -= 1

    def _begun(self) -> tuple[SpawnProcess, Connection]:
        ours, theirs = SPAWN.Pipe()
        with theirs:
            return start_child(_serve, self._arm, theirs, daemon=True), ours


def _exchange(pipe: Connection, work: Callable[..., Result], arguments: tuple[Any, ...]) -> Result:
    pipe.send((work, arguments))
    result: Result = pipe.recv()
    return result


# ---- in the process of its own ------------------------------------------------------------


def _serve(arm: Arm, pipe: Connection) -> None:
    os.nice(NICENESS)
    # Whoever started this process closes the pipe by ending.
    with contextlib.suppress(EOFError, BrokenPipeError):
        while True:
            work, arguments = pipe.recv()
            pipe.send(work(arm, *arguments))


def _check(arm: Arm, text: str, start_deg: Sequence[float] | None, switches: Switches) -> bytes:
    return orjson.dumps(check_program(text, arm, start_deg, switches))


def _plan(
    arm: Arm,
    text: str,
    start_counts: Sequence[int] | None,
    loops: Loops,
    switches: Switches,
    half_widths_deg: Mapping[str, float] | None,
) -> tuple[Part, ...] | list[Problem]:
    try:
        if start_counts is not None:
            start = pose_at(arm, start_counts)
            return plan_text(text, arm, start, loops, switches, half_widths_deg)
        # From where `_check` begins; there is nothing to plan.
        park = pose_of(arm, arm.poses["park"])
        return list(read_route(text, arm, park, switches)[1]) or ()
    except ProgramError as error:
        return list(error.problems)  # the error itself does not pickle


def _curves(
    arm: Arm, text: str, start_deg: Sequence[float] | None, switches: Switches
) -> Curves | list[Problem]:
    try:
        return curves(text, arm, start_deg, switches)
    except ProgramError as error:
        return list(error.problems)


def _way(
    arm: Arm, text: str, start_counts: Sequence[int], switches: Switches
) -> dict[str, float] | list[Problem]:
    try:
        return way_to_line(text, arm, pose_at(arm, start_counts), switches)
    except ProgramError as error:
        return list(error.problems)


def _shifted(arm: Arm, text: str, offsets_deg: Mapping[str, float]) -> ShiftedText:
    return shifted_text(text, arm, offsets_deg)


def _read_visits(arm: Arm, text: str) -> tuple[list[ReadVisit], list[Problem]]:
    visits, problems = from_program(text, arm)
    return visits, problems[: MAX_PROBLEMS + 1]


def _plain(mapping: MappingProxyType[Any, Any]) -> tuple[Any, ...]:
    return _read_only, (dict(mapping),)


def _read_only(mapping: dict[Any, Any]) -> MappingProxyType[Any, Any]:
    return MappingProxyType(mapping)


# An arm's poses are read-only, which pickle does not know how to do.
ForkingPickler.register(MappingProxyType, _plain)
