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
from collections.abc import AsyncIterator, Awaitable, Callable, Coroutine, Iterator
from pathlib import Path
from typing import Any, Final

from coordinator.arm import Arm
from coordinator.core.ahead import ahead
from coordinator.core.events import (
    Command,
    Event,
    Hold,
    HostSlept,
    Jog,
    Note,
    Play,
    Refused,
    ReportGrew,
    SendDrive,
    Stop,
)
from coordinator.core.machine import Coordinator
from coordinator.core.report import Report
from coordinator.core.run import Phase
from coordinator.core.snapshot import phase, snapshot
from coordinator.data_folder import coordinator_id, read_key
from coordinator.homing_keeper import HomingKeeper
from coordinator.journal import Journal
from coordinator.links.carrier import Carrier
from coordinator.links.clock import SleepWatch, arm_now_us, boot_now_us
from coordinator.planner import Planner
from coordinator.programs.size import size_mistake
from coordinator.run_counts import RunCounts
from coordinator.run_keeper import RunKeeper
from coordinator.store import DISK_S, Store, acknowledgements, events, settings
from coordinator.warning_times import WarningTimes
from protocol.constants import US

RESUMABLE: Final = (Phase.HELD, Phase.PAUSED)
EXIT_HOLD_S: Final = 3.2
"""Patience for a hold when the coordinator is asked to end, besides the arm's ramp: the lease takes
1.1 s at most, and a few exchanges tell that all joints rest."""
_LEVELS: Final = {"info": logging.INFO, "attention": logging.WARNING, "danger": logging.ERROR}
_logger = logging.getLogger(__name__)


class Service:
    """One arm's coordinator, from `open` to `close`. Not for use from other threads.

    Commands raise `Refused`. `failed` is set if the core breaks: nothing is sent any more then,
    and what moves comes to rest by its lease.
    """

    def __init__(self, arm: Arm, data: Path, interface: str) -> None:
        self.arm = arm
        self.failed = asyncio.Event()
        self.run_counts = RunCounts()
        identity, key = coordinator_id(data), read_key(data)
        self._store = Store(data)
        self._next_run = self._store.last_run + 1
        self._core = Coordinator(
            arm, identity, _new_session(), self._next_run, self._store.last_homing + 1
        )
        self._runs = RunKeeper(self._store, self._core.reports)
        self._homings = HomingKeeper(self._store, self._core.homings)
        self._journal = Journal(self._store, self._unwritten)
        self._recording = asyncio.Lock()
        self._halts = 0
        """How often a hold or stop was asked for."""
        self._carrier = Carrier(interface, key, identity, self._happened)
        self._sleep = SleepWatch(arm_now_us(), boot_now_us())
        self._timer: asyncio.TimerHandle | None = None
        self._planner = Planner(arm)
        self._warning_times = WarningTimes()
        self._tasks: set[asyncio.Task[None]] = set()
        self._ending = self._closed = False

    async def open(self) -> None:
        """Open the sockets and begin. Raises OSError, naming no file, when one cannot be had."""
        try:
            await self._carrier.open()
        except BaseException:
            await self._store.close()
            raise
        self._go_on()

    async def close(self) -> None:
        """Hold what moves, then close everything; from now on nothing can begin or go on."""
        self._ending = True
        if not self.failed.is_set():
            with contextlib.suppress(Refused, TimeoutError):
                patience_s = EXIT_HOLD_S + self._core.ramp.duration_us / US
                await asyncio.wait_for(self._hold_and_rest(), patience_s)
        self._closed = True
        if self._timer is not None:
            self._timer.cancel()
        await self._planner.close()
        await self._carrier.close()
        await asyncio.gather(*self._tasks)
        loop = asyncio.get_running_loop()
        until_s = loop.time() + DISK_S
        last = [loop.create_task(keeper.close()) for keeper in (self._homings, self._runs)]
        await asyncio.wait(last, timeout=DISK_S)
        # Until then nothing that waits for the disk is given up.
        await self._store.close(max(0.0, until_s - loop.time()))
        for task in last:
            if not task.done():
                _logger.error("the end of a run or homing is not written: the disk does not answer")
                task.cancel()
        await asyncio.gather(*last, return_exceptions=True)

    @property
    def ready(self) -> bool:
        """Whether it drives the arm: open, not ending, and the core is not broken."""
        return self._timer is not None and not self._ending and not self.failed.is_set()

    # ---- what people ask ------------------------------------------------------------------

    def command(self, command: Command, who: str | None = None) -> int | None:
        """Carry out a command of somebody; the number of a new run or homing. Raises Refused."""
        if isinstance(command, Hold | Stop):
            self._halts += 1
        if self._closed or not isinstance(command, Hold | Stop):
            self._require_not_ending()
        number: int | None = None
        if not self.failed.is_set():
            jogging = self._core.jogging
            with self._guarded():
                number = self._core.command(command, arm_now_us())
                # A jog is told once, not each time that it is renewed.
                if not isinstance(command, Jog) or jogging is None or jogging.name != command.joint:
                    self._journal.command(command, number, who, arm_now_us())
                self._go_on()
        if self.failed.is_set():
            raise Refused("failed", "the coordinator broke; see its log, then start it anew")
        return number

    async def play(
        self,
        name: str,
        text: str,
        has_left: Callable[[], Awaitable[bool]] | None = None,
        who: str | None = None,
    ) -> int:
        """Check a program whole, plan it from where the joints stand, play it; its run's number.

        Nothing is played for somebody who `has_left` meanwhile, after a hold or stop meanwhile, and
        nothing that cannot be recorded. Raises ProgramError, Refused, PlannerBusy or StoreError.
        """
        # Before anything is planned, what the core would refuse afterwards.
        self._core.require_no_run("play")
        _require_size(name, text)
        halts = self._halts
        counts = self._known_counts()
        parts = await self._planner.plan(text, counts)
        self._require_still(counts)
        async with self._recording, self._recorded(name, text) as run:
            if has_left is not None and await has_left():
                _logger.warning("%s is not played: whoever asked for it has left", name)
                raise Refused("left", f"whoever asked for {name} has left")
            self._require_still(counts)
            if self._halts != halts:
                raise Refused("halted", f"a hold or stop was asked for before {name} began")
            number = self.command(Play(name, text, parts), who)
            assert number == run
        return run

    @contextlib.asynccontextmanager
    async def _recorded(self, name: str, text: str) -> AsyncIterator[int]:
        """Record the next run before it begins, and forget it where that is refused."""
        self._core.require_no_run("play")
        run = self._next_run
        joints = tuple(joint.name for joint in self.arm.joints)
        await self._runs.begin(Report(run, name, joints, arm_now_us()), text)
        try:
            yield run
        except BaseException:
            await self._runs.forget(run)
            raise
        self._next_run += 1
        self._runs.grew(run)

    async def check(self, text: str) -> bytes:
        """What a program would do from where the arm stands, or from `park` if that is unsure.

        The result is JSON. Raises PlannerBusy, and Refused where it cannot be found.
        """
        _require_size("the program", text)
        counts = self._known_counts()
        start: list[float] | None = None
        if counts is not None:
            start = [
                joint.to_degrees(at) for joint, at in zip(self.arm.joints, counts, strict=True)
            ]
        return await self._planner.check(text, start)

    def _known_counts(self) -> list[int] | None:
        with contextlib.suppress(Refused):
            return self._core.start_counts()
        return None

    def _require_still(self, counts: list[int] | None) -> None:
        """Refuse what was planned from elsewhere, or from where nobody knows."""
        if self._core.start_counts() != counts:
            raise Refused("moved", "a joint moved while the program was being planned; try again")

    def tell(self, level: str, code: str, message: str) -> None:
        """Tell people something that the core does not know, as it does itself."""
        self._core.outbox.note(arm_now_us(), level, code, message)
        self._wake()

    def snapshot(self) -> dict[str, Any]:
        """The arm's state now."""
        now = arm_now_us()
        state = snapshot(self._core, now)
        self._warning_times.add_to(state["warnings"], now)
        return state

    @property
    def phase(self) -> str:
        """What the arm is about now, without the rest of the snapshot."""
        return phase(self._core)

    def ahead(self) -> dict[str, Any] | None:
        """Where the joints are planned to be in the next seconds."""
        return ahead(self._core.run, arm_now_us())

    def warning(self, number: int) -> dict[str, Any] | None:
        """A warning that stands, None if none of that number does."""
        return next((one for one in self.snapshot()["warnings"] if one["id"] == number), None)

    async def see(self, number: int, who: str) -> dict[str, Any] | None:
        """Somebody has seen a warning; it, or None if none of that number stands.

        Raises StoreError where that cannot be recorded, and then it is as if nobody had.
        """
        found = self.warning(number)
        if found is None or found["acknowledged"] or self.failed.is_set():
            return found
        words = f"{found['code']} since {found['since_utc']}: {found['message']}"
        await self._store.confirmed(lambda connection: acknowledgements.add(connection, words, who))
        with self._guarded():
            self._core.watch.acknowledge(number, arm_now_us())
            self._go_on()
        return self.warning(number)

    async def homing(self, number: int) -> dict[str, Any] | None:
        """How a homing goes or went, None if there was none of that number. Raises StoreError."""
        return await self._homings.homing(number)

    async def homing_of(self, joint: str) -> dict[str, Any] | None:
        """What a joint's newest homing found, None if none is known. Raises StoreError, Refused."""
        self._core.named(joint)
        return await self._homings.newest_of(joint)

    async def events(self, before: int | None, limit: int) -> list[dict[str, Any]]:
        """The journal, newest first, before the event of an id if one is given."""
        return await self._store.read(lambda connection: events.newest(connection, before, limit))

    async def setting(self, key: str) -> Any:
        """What people chose last, None where nobody did. Raises StoreError."""
        return await self._store.read(lambda connection: settings.get(connection, key))

    def choose(self, key: str, value: Any) -> None:
        """Remember a choice. Nothing waits for it; one that the disk does not take is logged."""
        written = self._store.write(lambda connection: settings.put(connection, key, value))
        written.add_done_callback(_chosen)

    async def runs(self, before: int | None, limit: int) -> list[dict[str, Any]]:
        """What runs were in short, newest first, before a run if any. Raises StoreError."""
        return await self._runs.summaries(before, limit)

    async def program(self, run: int) -> str | None:
        """The exact text that was played, None where it is not known. Raises StoreError."""
        return await self._runs.program(run)

    async def progress(self, run: int) -> dict[str, Any] | None:
        """Where a run is, None if there is none of that number. Raises StoreError."""
        report = await self._runs.report(run)
        if report is None:
            return None
        going = self.snapshot()["run"]
        place: dict[str, Any] = {"phase": "ended"}
        if going is not None and going["number"] == run:
            place = going
        elif not self._runs.is_ended(run):
            place = {"phase": "ending"}
        return {
            **place,
            "run": run,
            "name": report["name"],
            "outcome": report["outcome"],
            "message": report["message"],
            "obstacle": self._obstacle() if place["phase"] in RESUMABLE else None,
        }

    async def report(self, run: int) -> dict[str, Any] | None:
        """A run's report, None if there is none of that number. Raises StoreError."""
        return await self._runs.report(run)

    def _obstacle(self) -> dict[str, str] | None:
        """Why the run that rests could not go on now, None if it could."""
        assert self._core.run is not None
        try:
            self._require_not_ending()
            self._core.run.require_resumable(arm_now_us())
        except Refused as refused:
            return {"code": refused.code, "message": refused.message}
        return None

    def _require_not_ending(self) -> None:
        if self._ending:
            raise Refused("ending", "the coordinator is ending")

    # ---- the loop -------------------------------------------------------------------------

    def _happened(self, event: Event) -> None:
        if self._closed or self.failed.is_set():
            return
        with self._guarded():
            self._core.handle(event, arm_now_us())
            self._go_on()

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
        for action in self._core.poll(arm_now_us()):
            match action:
                case Note(level=level, message=message):
                    _logger.log(_LEVELS[level], "%s", message)
                    self._journal.note(action)
                case ReportGrew(run=run):
                    self.run_counts.take(self._core.reports[run])
                    self._runs.grew(run)
                case SendDrive() if self._end_session_if_slept():
                    # The rest is of a session that is over.
                    self._go_on()
                    return
                case _:
                    sent = self._carrier.carry_out(action)
                    if sent is not None:
                        self._core.handle(sent, arm_now_us())
        self._homings.look(self._core.homing)
        self._sleep_until(self._core.next_deadline())

    def _unwritten(self, code: str, why: str) -> None:
        run = self._core.run
        if run is not None and run.phase is not Phase.ENDED:
            self._runs.lost(run.number, f"event {code}", why)

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
        self.command(Hold())
        run = self._core.run
        while run is not None and run.phase in (Phase.MOVING, Phase.HOLDING, Phase.STARTING):
            await asyncio.sleep(0.05)

    def _start(self, work: Coroutine[Any, Any, None]) -> None:
        task = asyncio.get_running_loop().create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)


def _chosen(written: asyncio.Future[None]) -> None:
    if not written.cancelled() and (error := written.exception()) is not None:
        _logger.warning("a choice is not kept: %s", error)


def _require_size(name: str, text: str) -> None:
    if sentence := size_mistake(name, len(text.encode(errors="replace"))):
        raise Refused("program-too-large", sentence)


def _new_session() -> int:
    """A random session that is not 0."""
    return secrets.randbits(64) | 1


@contextlib.asynccontextmanager
async def running(arm: Arm, data: Path, interface: str) -> AsyncIterator[Service]:
    """A service from its beginning to its end."""
    service = Service(arm, data, interface)
    await service.open()
    try:
        yield service
    finally:
        await service.close()
