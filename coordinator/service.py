"""The coordinator on real sockets: the pure core, driven by the host's clock and event loop.

What happens goes in as events, what the core wants done is carried out at once, and between them
the loop sleeps until the core's next deadline. Everything runs in one loop, but for planning
programs, which has a process of its own, and the database, which has threads.
"""

import asyncio
import contextlib
import logging
import math
import secrets
from collections.abc import AsyncIterator, Callable, Coroutine, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from coordinator.codes.alarm_state import AlarmState
from coordinator.codes.arm_phase import ArmPhase
from coordinator.codes.level import Level
from coordinator.codes.refusal import RefusalCode
from coordinator.config.arm import Arm
from coordinator.config.data_folder import coordinator_id, read_key
from coordinator.config.joint import Joint
from coordinator.config.settings import service_type
from coordinator.core.condition import unstopped
from coordinator.core.events import (
    Because,
    Command,
    Event,
    Go,
    Hold,
    HoldHome,
    HostSlept,
    Jog,
    Note,
    Refused,
    Replied,
    ReportGrew,
    Resume,
    SendDrive,
    Step,
    Stop,
    Touched,
)
from coordinator.core.machine import Coordinator
from coordinator.core.preview import Preview, planned_position, preview
from coordinator.core.run import Phase
from coordinator.core.snapshot.arm import ArmSnapshot, arm_busy, arm_phase, arm_snapshot
from coordinator.core.snapshot.warning import ShelfSnapshot, WarningSnapshot, shelf_snapshot
from coordinator.core.surveying import NONE_ASKED, SurveySnapshot
from coordinator.core.updating.updates import UpdateSnapshot
from coordinator.links.carrier import Carrier
from coordinator.links.clock import SleepWatch, arm_now_us, boot_now_us
from coordinator.playing.queue_player import QueuePlayer
from coordinator.playing.runs import Runs
from coordinator.records.alarms import AlarmKeeper
from coordinator.records.arm_file import ArmFileKeeper
from coordinator.records.bring_up import BringUpKeeper
from coordinator.records.choices import Choices
from coordinator.records.counts import RunCounts
from coordinator.records.homings import HomingKeeper
from coordinator.records.joint_history import HistoryKeeper
from coordinator.records.journal import Journal
from coordinator.records.taught import TaughtKeeper
from coordinator.records.warning_times import WarningTimes
from coordinator.store import DISK_S, Store, StoreError, acknowledgements
from coordinator.store.utc import utc_ago
from coordinator.workers.planner import Planner
from protocol.constants import US

EXIT_HOLD_S: Final = 3.2
"""Patience for a hold when the coordinator is asked to end, besides the arm's ramp: the permit
takes
1.1 s at most, and a few exchanges tell that all joints rest."""
_LEVELS: Final = {
    Level.INFO: logging.INFO, Level.ATTENTION: logging.WARNING, Level.DANGER: logging.ERROR
}  # fmt: skip
_logger = logging.getLogger(__name__)


class Service:
    """One arm's coordinator, from `open` to `close`. Not for use from other threads. `database` is
    the URL of one that is not in the data folder.

    Commands raise `Refused`. `failed` is set if the core breaks: nothing is sent any more then,
    and what moves comes to rest by its permit.
    """

    def __init__(self, arm: Arm, data: Path, interface: str, database: str | None = None) -> None:
        self.arm = arm
        self.failed = asyncio.Event()
        self.on_touch: Callable[[Touched], None] = _nobody
        """Called with what people do at the joints' own controls. Must not block nor raise."""
        self._touched: tuple[str, int] | None = None
        """The joint whose own control was used last, and when."""
        self.run_counts = RunCounts()
        # Whatever can be wrong here is found before the database is opened, which must be closed.
        identity, key, dns_service = coordinator_id(data), read_key(data), service_type()
        self._store = Store(data, database=database)
        first_run, first_homing = self._store.last_run + 1, self._store.last_homing + 1
        self._core = Coordinator(arm, identity, _new_session(), first_run, first_homing)
        self._planner = Planner(arm)
        self.homings = HomingKeeper(self._store, self._core.homings)
        self.runs = Runs(self._core, self._store, self._planner, self, self.homings)
        self.journal = Journal(self._store, self.runs.event_lost)
        self.history = HistoryKeeper(
            self._store,
            self._core.links,
            self._core.watch.supply,
            lambda link: planned_position(self._core.run, link),
            arm_now_us,
            self.tell,
        )
        self.arm_file = ArmFileKeeper(arm)
        self.bring_up = BringUpKeeper(self._store)
        self.choices = Choices(self._store)
        self.taught = TaughtKeeper(self._store, arm, lambda: self._core.standing_deg(arm_now_us()))
        self.queue = QueuePlayer(self._store, self.runs, self.taught, self)
        self._carrier = Carrier(interface, dns_service, key, identity, self._happened)
        self._sleep = SleepWatch(arm_now_us(), boot_now_us())
        self._timer: asyncio.TimerHandle | None = None
        self._warning_times = WarningTimes()
        self._alarms = AlarmKeeper(self._store)
        self._tasks: set[asyncio.Task[None]] = set()
        self._ending = self._closed = False

    async def open(self) -> None:
        """Open the sockets and begin. Raises OSError, naming no file, when one cannot be had."""
        try:
            await self._carrier.open()
        except BaseException:
            await self._store.close()
            raise
        await self._know_homes()
        await self._know_alarms()
        self._tell_of_beginning()
        self._go_on()
        self.history.begin()
        try:
            await self.taught.now()
            await self.queue.now()
        except StoreError as error:  # who teaches is told again
            _logger.error("what was taught, or the queue, is not known: %s", error)

    async def _know_homes(self) -> None:
        """Before anything is asked of joints: which of them count as homed depends on it."""
        try:
            self._core.take_homes(await self.homings.homes(self.arm.joints))
        except StoreError as error:
            _logger.error("what homings found is not known: %s", error)
            unknown = f"whether home of a joint wandered before is not known: {error}"
            self.tell(Level.DANGER, "homes-unknown", unknown)

    async def _know_alarms(self) -> None:
        """Whoever shelved an alarm is not asked again because the coordinator began anew; and what
        nobody has seen is not over with that.
        """
        watch, names = self._core.watch, [joint.name for joint in self.arm.joints]
        try:
            kept, unseen = await self._alarms.shelves(names), await self._alarms.unseen(names)
        except StoreError as error:  # then all that is so gives its sign
            _logger.error("what was shelved, and what alarms nobody saw, is not known: %s", error)
            unknown = f"which alarms nobody saw before is not known: {error}"
            self.tell(Level.ATTENTION, "alarms-unknown", unknown)
            return
        now = arm_now_us()
        for joint, kind, message, ago_us in unseen:
            watch.recall(joint, kind, message, ago_us, now)
        for joint, kind, who, left_s in kept:
            if left_s > 0:
                watch.shelve(joint, kind, who, left_s * US, now, again=True)
                continue
            watch.tell_of_end(joint, kind, who, now)
            self._alarms.forget_shelf(joint, kind)

    def _tell_of_beginning(self) -> None:
        now, note = arm_now_us(), self._core.outbox.note
        started = f"the coordinator of {self.arm.name} started"
        note(now, Level.INFO, "coordinator-started", started)
        for sentence in self._store.cut_short:
            note(now, Level.ATTENTION, "cut-short", sentence)

    async def close(self) -> None:
        """Hold what moves, then close everything; from now on nothing can begin or go on."""
        self._ending = True
        await self.queue.close()
        if not self.failed.is_set():
            ending = "the coordinator is ending: what moves comes to rest"
            self._core.updates.end(arm_now_us())
            self.tell(Level.INFO, "coordinator-ending", ending)
            with contextlib.suppress(Refused, TimeoutError):
                patience_s = EXIT_HOLD_S + self._core.ramp.duration_us / US
                await asyncio.wait_for(self._hold_and_rest(), patience_s)
        self._closed = True
        if self._timer is not None:
            self._timer.cancel()
        feeding = self.runs.end_feeding()
        await self._planner.close()
        await asyncio.gather(*feeding, return_exceptions=True)
        await self._carrier.close()
        await asyncio.gather(*self._tasks)
        loop = asyncio.get_running_loop()
        until_s = loop.time() + DISK_S
        keepers = self.homings, self.runs, self.history
        last = [loop.create_task(keeper.close()) for keeper in keepers]
        await asyncio.wait(last, timeout=DISK_S)
        # Until then nothing that waits for the disk is given up.
        await self._store.close(max(0.0, until_s - loop.time()))
        for task in last:
            if not task.done():
                _logger.error(
                    "what came last of runs, homings or joints is not written: the disk hangs"
                )
                task.cancel()
        await asyncio.gather(*last, return_exceptions=True)

    @property
    def ready(self) -> bool:
        """Whether it drives the arm: open, not ending, and the core is not broken."""
        return self._timer is not None and not self._ending and not self.failed.is_set()

    # ---- what people ask ------------------------------------------------------------------

    def command(
        self, command: Command, who: str | None = None, *, detail: bool = False
    ) -> int | None:
        """Carry out a command of somebody; the number of a new run or homing. Raises Refused.

        A `detail` has no line of its own in the journal: it is a part of something that has.
        """
        if isinstance(command, Hold | Stop):
            self.runs.halt()
        if self._closed or not isinstance(command, Hold | Stop):
            self.require_not_ending()
        number: int | None = None
        if not self.failed.is_set():
            jogging, homing = self._core.jogging, self._core.homing
            with self._guarded():
                number = self._core.command(command, arm_now_us())
                # A jog is told once, not each time that it is renewed, and steps with the first.
                begins = set(self._core.jogging) - set(jogging) or self._core.homing is not homing
                if begins or not isinstance(command, Jog | Step | Go | HoldHome):
                    line = self.journal.command(command, number, who, arm_now_us(), detail=detail)
                    self._core.outbox.show(_by(line, who))
                if isinstance(command, Resume):
                    self.runs.resumed()
                self._go_on()
        if self.failed.is_set():
            raise Refused(
                RefusalCode.FAILED, "the coordinator broke; see its log, then start it anew"
            )
        return number

    def announce(self, what: str) -> None:
        """What will be played next without another command; empty for nothing any more."""
        self._core.announced = what
        self._wake()

    def require_not_ending(self) -> None:
        """Raise Refused once nothing may begin or go on."""
        if self._ending:
            raise Refused(RefusalCode.ENDING, "the coordinator is ending")

    def tell(self, level: Level, code: str, message: str) -> None:
        """Tell people something that the core does not know, as it does itself."""
        if self._closed or self.failed.is_set():
            # Nothing is carried out any more, but that the last writes succeed is worth a line.
            note = Note(arm_now_us(), level, code, message)
            self._core.outbox.show(note)
            self._note(note)
            return
        self._core.outbox.note(arm_now_us(), level, code, message)
        self._wake()

    def snapshot(self) -> ArmSnapshot:
        """The arm's state now."""
        return self._warning_times.added_to(arm_snapshot(self._core, arm_now_us()))

    def newest_update(self) -> UpdateSnapshot | None:
        """How the newest update goes or went, without the rest of the snapshot."""
        return self._core.updates.snapshot()

    async def newest_survey(self) -> SurveySnapshot:
        """How the newest survey of links goes or went. Its figures take a thread some time."""
        survey = self._core.surveys.newest
        if survey is None:
            return NONE_ASKED
        over = survey.phase.is_over
        results = await asyncio.to_thread(survey.results) if over else ()
        now = arm_now_us()
        told = survey.snapshot(now, results)
        if told.ended_us is None:
            return told
        return replace(told, ended_utc=utc_ago(now - told.ended_us))

    def touched_within(self, for_us: int) -> str | None:
        """The joint whose own control was used last, if that was within so long."""
        if self._touched is None or arm_now_us() - self._touched[1] > for_us:
            return None
        return self._touched[0]

    def require_updatable(self, joint: str) -> None:
        """Raise Refused where that joint could get no new firmware now, whichever it is."""
        self._core.require_updatable(joint, arm_now_us())

    @property
    def unstopped(self) -> tuple[str, ...]:
        """Joints that have not confirmed a stop, and may move still."""
        return unstopped(self._core.links, arm_now_us())

    @property
    def session(self) -> int:
        """The session in force."""
        return self._core.session

    @property
    def phase(self) -> ArmPhase:
        """What is under way, without the rest of the snapshot."""
        return arm_phase(self._core)

    @property
    def busy(self) -> bool:
        """Whether something moves, or will without another command."""
        return arm_busy(self._core)

    @property
    def moved_by_hand(self) -> bool:
        """Whether something moves only as long as somebody holds it, or asked for a step."""
        return self._core.moved_by_hand

    def preview(self) -> Preview | None:
        """Where the joints are planned to be in the next seconds."""
        return preview(self._core.run, arm_now_us())

    async def acknowledge(self, number: int, who: str) -> WarningSnapshot | None:
        """Somebody has seen a warning; it, or None if none of that number stands or is over unseen.

        Raises StoreError where that cannot be recorded, and then it is as if nobody had.
        """
        found = self._warning(number)
        if found is None or self.failed.is_set():
            return found
        if found.state in (AlarmState.ACKNOWLEDGED, AlarmState.SHELVED):
            return found
        words = f"{found.code} since {found.since_utc}: {found.message}"
        await self._store.confirmed(lambda connection: acknowledgements.add(connection, words, who))
        with self._guarded():
            self._core.watch.acknowledge(number, arm_now_us())
            self._go_on()
        # What is over is shown no more once it is acknowledged.
        return self._warning(number) or replace(found, state=AlarmState.NORMAL)

    async def shelve(self, number: int, for_s: float, who: str) -> ShelfSnapshot | None:
        """Somebody puts a warning's sign aside; None if none of that number is shown.

        Nothing but the sign changes. Raises Refused of what is never shelved, and StoreError where
        it cannot be recorded: then it is as if nobody had.
        """
        found = self._core.watch.require_shelvable(number)
        if found is None:
            return None
        joint, kind = found
        for_us = round(for_s * US)
        await self._alarms.put_on_shelf(joint, kind, who, round(for_s))
        with self._guarded():
            self._core.watch.shelve(joint, kind, who, for_us, arm_now_us())
            self._go_on()
        return self._shelf(joint, kind.code)

    async def unshelve(self, number: int, who: str) -> ShelfSnapshot | None:
        """Somebody takes a kind off the shelf, as it was; None if none of that number is on it.

        Raises StoreError where it cannot be recorded: it gives its sign all the same, until the
        coordinator begins anew.
        """
        with self._guarded():
            shelf = self._core.watch.unshelve(number, who, arm_now_us())
            self._go_on()
        if shelf is None:
            return None
        await self._alarms.take_off_shelf(shelf.joint, shelf.kind)
        told = shelf_snapshot(self._core.watch.warnings, shelf)
        return replace(told, until_utc=utc_ago(arm_now_us() - shelf.until_us))

    def _shelf(self, joint: str, code: str) -> ShelfSnapshot | None:
        alarms = self.snapshot().alarms
        shelved = alarms.shelved if alarms is not None else ()
        return next((one for one in shelved if (one.joint, one.code) == (joint, code)), None)

    async def accept_home(self, joint: str, who: str) -> None:
        """Somebody has looked at a joint whose home wandered, and accepts it as it is.

        Raises Refused where there is nothing to accept, and StoreError where that cannot be
        recorded: then it is as if nobody had.
        """
        self.require_not_ending()
        homing = self._core.require_wandered(joint)
        await self.homings.accept(joint, homing, who)
        if self.failed.is_set():
            return
        with self._guarded():
            self._core.accept_home(joint, homing, who, arm_now_us())
            self._go_on()

    def _warning(self, number: int) -> WarningSnapshot | None:
        arm = self.snapshot()
        returned = arm.alarms.returned if arm.alarms is not None else ()
        return next((one for one in (*arm.warnings, *returned) if one.id == number), None)

    def require_joint(self, joint: str) -> Joint:
        """The joint of that name. Raises Refused where the arm has none."""
        return self._core.named(joint).joint

    # ---- the loop -------------------------------------------------------------------------

    def _happened(self, event: Event) -> None:
        if self._closed or self.failed.is_set():
            return
        with self._guarded():
            self._core.handle(event, arm_now_us())
            self._go_on()
        if isinstance(event, Replied):
            self.history.replied(event.joint_id)

    def _wake(self) -> None:
        if self._closed or self.failed.is_set():
            return
        with self._guarded():
            self._go_on()

    @contextlib.contextmanager
    def _guarded(self) -> Iterator[None]:
        try:
            yield
        except Refused:
            raise
        except Exception:
            # The joints hold by their own rules once nothing is sent; a broken core must not go on.
            _logger.exception("the coordinator's core broke; nothing is sent any more")
            self.failed.set()

    def _go_on(self) -> None:
        """Carry out what is due and sleep until the next deadline, unless all is closed."""
        if self._closed:
            return
        self._end_session_if_slept()
        touches: list[Touched] = []
        for action in self._core.poll(arm_now_us()):
            match action:
                case Note():
                    self._note(action)
                case ReportGrew(run=run):
                    self.run_counts.take(self._core.reports[run])
                    self.runs.grew(run)
                case Touched():
                    touches.append(action)
                case SendDrive() if self._end_session_if_slept():
                    # The rest is of a session that is over.
                    self._go_on()
                    return
                case _:
                    sent = self._carrier.carry_out(action)
                    if sent is not None:
                        self._core.handle(sent, arm_now_us())
        self.homings.look(self._core.homing)
        for kept in self._core.watch.warnings.drained():
            self._alarms.keep(kept, arm_now_us())
        self._sleep_until(self._core.next_deadline())
        for touched in touches:
            # What it asks for goes out at once, and must not overtake the drives above.
            self._touched = touched.joint, arm_now_us()
            self.on_touch(touched)

    def _note(self, note: Note) -> None:
        _logger.log(_LEVELS[note.level], "%s", note.message)
        self.journal.note(note)

    def _sleep_until(self, deadline_us: int) -> None:
        if self._timer is not None:
            self._timer.cancel()
        # The loop's timers count whole ms; one that fired early would only be set again.
        wait_ms = max(1, math.ceil((deadline_us - arm_now_us()) / 1000))
        self._timer = asyncio.get_running_loop().call_later(wait_ms / 1000, self._wake)

    def _end_session_if_slept(self) -> bool:
        slept_us = self._sleep.check(arm_now_us(), boot_now_us())
        if slept_us is None:
            return False
        self._core.handle(HostSlept(slept_us, _new_session()), arm_now_us())
        self._start(self._carrier.refresh())
        return True

    async def _hold_and_rest(self) -> None:
        self.command(Hold(Because.ENDING), detail=True)
        run = self._core.run
        while run is not None and run.phase in (Phase.MOVING, Phase.HOLDING, Phase.STARTING):
            await asyncio.sleep(0.05)

    def _start(self, work: Coroutine[Any, Any, None]) -> None:
        task = asyncio.get_running_loop().create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)


def _nobody(touched: Touched) -> None:
    """Nothing comes of it."""


def _by(line: Note, who: str | None) -> Note:
    """A command's line for those who see only the words, not who it was."""
    return replace(line, message=f"{line.message}, asked by {who}") if who else line


def _new_session() -> int:
    """A random session that is not 0."""
    return secrets.randbits(64) | 1


@contextlib.asynccontextmanager
async def running(
    arm: Arm, data: Path, interface: str, database: str | None = None
) -> AsyncIterator[Service]:
    """A service from its beginning to its end."""
    service = Service(arm, data, interface, database)
    await service.open()
    try:
        yield service
    finally:
        await service.close()
