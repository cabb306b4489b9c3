"""One arm's runs: a program is checked whole, planned, recorded, and only then begun."""

import asyncio
import contextlib
import logging
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping, Sequence
from dataclasses import asdict, dataclass
from importlib.metadata import version
from typing import Any, Final, Protocol

from coordinator.answers.way import WayBack
from coordinator.codes.refusal import RefusalCode
from coordinator.core.events import Command, Play, Refused
from coordinator.core.machine import Coordinator
from coordinator.core.obstacle import obstacle
from coordinator.core.run import Phase
from coordinator.core.run.report import Report
from coordinator.core.snapshot.run import RESUMABLE, run_snapshot
from coordinator.links.clock import arm_now_us
from coordinator.motion.curves import Curves
from coordinator.motion.edges import EdgesError, edge_checks
from coordinator.motion.feeding import FedPlan
from coordinator.motion.route import pose_at, pose_of
from coordinator.programs import NO_SWITCHES, Problem, Switches
from coordinator.programs.options import AS_WRITTEN, PlayOptions
from coordinator.programs.progress import Tell, untold
from coordinator.programs.size import size_mistake
from coordinator.programs.words import count_lines
from coordinator.records.homings import HomingKeeper
from coordinator.records.runs import PlayedBy, RunKeeper
from coordinator.store import Store, StoreError
from coordinator.store.texts import digest_of
from coordinator.teaching.program import ReadVisit
from coordinator.teaching.shifted_text import ShiftedText
from coordinator.workers.planner import Making, Planner

FEED_S: Final = 0.05
"""Between looks at whether more moves may come: far less than what is there takes to be played."""
_logger = logging.getLogger(__name__)


class Commanding(Protocol):
    """Who carries out commands, as long as the coordinator is not ending."""

    def command(self, command: Command, who: str | None = None) -> int | None:
        """Carry out a command of somebody; the number of a new run. Raises Refused."""

    def require_not_ending(self) -> None:
        """Raise Refused once nothing may begin or go on."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """A program that somebody wants played."""

    name: str
    text: str
    options: PlayOptions = AS_WRITTEN
    """How."""
    taught: int | None = None
    """The sequence or kept program whose text it is, if any."""


class Runs:
    """What was played on one arm, and what is. Belongs to one event loop."""

    def __init__(
        self,
        core: Coordinator,
        store: Store,
        planner: Planner,
        commanding: Commanding,
        homings: HomingKeeper,
    ) -> None:
        self._core = core
        self._homings = homings
        arm = core.arm
        self._keeper = RunKeeper(
            store, core.reports, PlayedBy(arm.name, digest_of(arm.text), version("unisono"))
        )
        self._planner = planner
        self._commanding = commanding
        self._next_run = store.last_run + 1
        self._recording = asyncio.Lock()
        self._feeding: set[asyncio.Task[None]] = set()
        self._halts = 0
        """How often a hold or stop was asked for."""
        self.consented = 0
        """That number as somebody last wanted motion: by a play, or a resume. Where it is another
        now, somebody has held or stopped since and nothing may begin by itself."""
        self._news = asyncio.Event()
        """Set, and another one from then on, with every report that grew."""

    # ---- playing ------------------------------------------------------------------------------

    async def play(
        self,
        wanted: Wanted,
        has_left: Callable[[], Awaitable[bool]] | None = None,
        who: str | None = None,
        halts: int | None = None,
        tell: Tell = untold,
    ) -> int:
        """Check a program whole, plan it from where the joints stand, play it; its run's number.

        Nothing is played for somebody who `has_left` meanwhile, after a hold or stop meanwhile, and
        nothing that cannot be recorded. `halts` is what it was when the play was asked for, if that
        was before this. To cancel it ends what is planned
        at once. Raises ProgramError, Refused, PlannerBusy or StoreError.
        """
        # Before anything is planned, what the core would refuse afterwards.
        self._core.require_no_run("play")
        halts = self._halts if halts is None else halts
        counts = self._known_counts()
        loops, switches = wanted.options.often, wanted.options.switches
        widths = await self._half_widths_deg(counts) if loops.check_edges else None
        if loops.apart:
            try:
                parts = await self._planner.plan_loops(
                    wanted.text, counts, loops, switches, widths, tell
                )
            except EdgesError as error:
                raise Refused(RefusalCode.EDGES, str(error)) from None
            text = wanted.text
            play = Play(wanted.name, text, parts, loops, switches, count_lines(text))
            return await self._begin(wanted, play, counts, halts, has_left, who)
        making = await self._planner.plan(wanted.text, counts, loops, switches, tell)
        if making is None:
            self._require_still(counts)
            raise Refused(RefusalCode.MOVED, "where the joints stood was not known; try again")
        outline = making.outline
        plan = FedPlan(outline.parts)
        plan.take(outline.first)
        play = Play(wanted.name, "", plan, loops, switches, outline.lines, outline.needs)
        try:
            run = await self._begin(wanted, play, counts, halts, has_left, who)
        except BaseException:
            await making.close()
            raise
        task = asyncio.create_task(self._feed(run, making, plan))
        self._feeding.add(task)
        task.add_done_callback(self._feeding.discard)
        return run

    async def _begin(
        self,
        wanted: Wanted,
        play: Play,
        counts: list[int] | None,
        halts: int,
        has_left: Callable[[], Awaitable[bool]] | None,
        who: str | None,
    ) -> int:
        """Record a run and begin it; its number."""
        name = wanted.name
        self._require_still(counts)
        async with self._recording, self._recorded(wanted, who) as run:
            if has_left is not None and await has_left():
                _logger.warning("%s is not played: whoever asked for it has left", name)
                raise Refused(RefusalCode.LEFT, f"whoever asked for {name} has left")
            self._require_still(counts)
            if self._halts != halts:
                raise Refused(
                    RefusalCode.HALTED, f"a hold or stop was asked for before {name} began"
                )
            number = self._commanding.command(play, who)
            assert number == run
            self.consented = halts
        return run

    async def _half_widths_deg(self, counts: Sequence[int] | None) -> dict[str, float]:
        """Half the width of each joint's home sensor, for a check of all edges between loops.

        Raises Refused with every joint whose edge cannot be checked, and StoreError.
        """
        arm = self._core.arm
        found = await self._homings.half_widths_deg([joint.name for joint in arm.joints])
        pose = pose_at(arm, counts) if counts is not None else pose_of(arm, arm.poses["park"])
        _, why = edge_checks(arm, found, pose)
        if why:
            raise Refused(RefusalCode.EDGES, "; ".join(why))
        return found

    async def _feed(self, run: int, making: Making, plan: FedPlan) -> None:
        """Bring moves to where they are played, a bounded number ahead, as long as it is."""
        try:
            while self._is_played(run):
                if not plan.wants:
                    await asyncio.sleep(FEED_S)
                elif (piece := await making.more()) is not None:
                    plan.take(piece)
                else:
                    plan.close()
                    break
        except (EOFError, OSError):
            _logger.exception("the process that makes the moves of run %d ended", run)
            plan.break_off("the process that plans the program ended")
        finally:
            await making.close()

    def _is_played(self, run: int) -> bool:
        played = self._core.run
        return played is not None and played.number == run and played.phase is not Phase.ENDED

    @property
    def halts(self) -> int:
        """How many holds and stops were asked for."""
        return self._halts

    def halt(self) -> None:
        """A hold or stop was asked for: what is being planned does not begin."""
        self._halts += 1

    def resumed(self) -> None:
        """A resume was asked for, after whatever was held."""
        self.consented = self._halts

    async def over(self, run: int) -> Report:
        """Wait for the end of a run that began here; its report."""
        report = self._core.reports[run]
        while report.ended_us is None:
            await self._news.wait()
        return report

    @contextlib.asynccontextmanager
    async def _recorded(self, wanted: Wanted, who: str | None) -> AsyncIterator[int]:
        """Record the next run before it begins, and forget it where that is refused."""
        self._core.require_no_run("play")
        run = self._next_run
        joints = tuple(joint.name for joint in self._core.arm.joints)
        often, switches = wanted.options.often, wanted.options.switches
        report = Report(run, wanted.name, joints, arm_now_us(), often, switches)
        await self._keeper.begin(report, wanted.text, wanted.taught, who)
        try:
            yield run
        except BaseException:
            await self._keeper.forget(run)
            raise
        self._next_run += 1
        self._keeper.grew(run)

    async def check(
        self, text: str, switches: Switches = NO_SWITCHES, tell: Tell = untold
    ) -> bytes:
        """What a program would do from where the arm stands, or from `park` if that is unsure.

        The result is JSON. Raises PlannerBusy, and Refused where it cannot be found.
        """
        widths: dict[str, float] = {}
        with contextlib.suppress(StoreError):  # then how long a check of edges takes is not told
            names = [joint.name for joint in self._core.arm.joints]
            widths = await self._homings.half_widths_deg(names)
        return await self._planner.check(text, self._start_deg(), switches, tell, widths)

    async def curves(
        self, text: str, switches: Switches = NO_SWITCHES, tell: Tell = untold
    ) -> Curves:
        """The angles of all joints over time, from where `check` begins.

        Raises ProgramError, PlannerBusy, and Refused where it cannot be found.
        """
        return await self._planner.curves(text, self._start_deg(), switches, tell)

    async def shifted(self, text: str, offsets_deg: Mapping[str, float]) -> ShiftedText:
        """A program whose absolute angles are shifted joint by joint.

        Raises PlannerBusy, and Refused where it cannot be found.
        """
        return await self._planner.shifted(text, offsets_deg)

    async def read_visits(self, text: str) -> tuple[list[ReadVisit], list[Problem]]:
        """The visits that a program makes, and all that keeps it from being a sequence.

        Raises PlannerBusy, and Refused where it cannot be found.
        """
        _require_size("the program", text)
        return await self._planner.read_visits(text)

    def _start_deg(self) -> list[float] | None:
        """Where the arm stands; None where that is not sure."""
        # Where a joint was that is not heard any more says nothing of where it is.
        heard = all(link.heard(arm_now_us()) for link in self._core.links)
        counts = self._known_counts() if heard else None
        if counts is None:
            return None
        joints = self._core.arm.joints
        return [joint.to_degrees(at) for joint, at in zip(joints, counts, strict=True)]

    def _known_counts(self) -> list[int] | None:
        with contextlib.suppress(Refused):
            return self._core.start_counts()
        return None

    def _require_still(self, counts: list[int] | None) -> None:
        """Refuse what was planned from elsewhere, or from where nobody knows."""
        if self._core.start_counts() != counts:
            raise Refused(
                RefusalCode.MOVED, "a joint moved while the program was being planned; try again"
            )

    # ---- what is known of them ----------------------------------------------------------------

    async def summaries(self, before: int | None, limit: int) -> list[dict[str, Any]]:
        """What runs were in short, newest first, before a run if any. Raises StoreError."""
        return await self._keeper.summaries(before, limit)

    async def newest_of_taught(self) -> list[dict[str, Any]]:
        """The newest run in short of each sequence and program kept. Raises StoreError."""
        return await self._keeper.newest_of_taught()

    async def program(self, run: int) -> str | None:
        """The exact text that was played, None where it is not known. Raises StoreError."""
        return await self._keeper.program(run)

    async def way(self, run: int, from_line: int | None) -> WayBack | None:
        """The way to where a run would go on: as its last line begins, or another one.

        None if there is none of that number. Raises Refused where a program is played, or where
        the joints stand is not known; ProgramError, PlannerBusy, StoreError.
        """
        report, text = await self.report(run), await self.program(run)
        if report is None or text is None:
            return None
        self._core.require_no_run("the way back")
        counts = self._core.start_counts()
        line = report.get("line") if from_line is None else from_line
        angles_deg: dict[str, float] = {}
        if line is not None:
            switches = Switches(
                bool(report.get("block_delete")), bool(report.get("optional_stop")), from_line=line
            )
            angles_deg = await self._planner.way(text, counts, switches)
        return WayBack(run, report["name"], line, angles_deg)

    async def report(self, run: int) -> dict[str, Any] | None:
        """A run's report, None if there is none of that number. Raises StoreError."""
        return await self._keeper.report(run)

    async def progress(self, run: int) -> dict[str, Any] | None:
        """Where a run is, None if there is none of that number. Raises StoreError."""
        report = await self._keeper.report(run)
        if report is None:
            return None
        going = self._core.run
        place: dict[str, Any] = {"phase": "ended"}
        if going is not None and going.number == run and going.phase is not Phase.ENDED:
            place = asdict(run_snapshot(going, arm_now_us()))
        elif not self._keeper.is_ended(run):
            place = {"phase": "ending"}
        return {
            **place,
            "run": run,
            "name": report["name"],
            "outcome": report["outcome"],
            "message": report["message"],
            "obstacle": self._obstacle(place),
        }

    def _obstacle(self, place: dict[str, Any]) -> Any:
        """Why a run that rests could not go on now: the coordinator's end before all else."""
        ending = obstacle(self._commanding.require_not_ending)
        return ending if ending and place["phase"] in RESUMABLE else place.get("obstacle")

    # ---- records ------------------------------------------------------------------------------

    def grew(self, run: int) -> None:
        """A run's report has something new, which is written as soon as may be."""
        self._keeper.grew(run)
        self._news.set()
        self._news = asyncio.Event()

    def event_lost(self, code: str, why: str) -> None:
        """The disk did not take an event: the report of the run that goes on says so."""
        run = self._core.run
        if run is not None and run.phase is not Phase.ENDED:
            self._keeper.lost(run.number, f"event {code}", why)

    def end_feeding(self) -> list[asyncio.Task[None]]:
        """No more moves come to what is played. What brought them, to be waited for once the
        processes that it asks have been ended: until then one may keep it waiting.
        """
        for task in self._feeding:
            task.cancel()
        return list(self._feeding)

    async def close(self) -> None:
        """Write what is not written yet."""
        await self._keeper.close()


def _require_size(name: str, text: str) -> None:
    if sentence := size_mistake(name, len(text.encode(errors="replace"))):
        raise Refused(RefusalCode.PROGRAM_TOO_LARGE, sentence)
