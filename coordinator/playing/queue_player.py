"""Plays the queue: a thin shell around `queue`, which says what comes next.

Each entry is an ordinary run, checked, planned and recorded before it begins. Between two entries
the arm is announced to start, so that no word is calmer than what follows; any hold or stop that
was not followed by a resume ends the queue there.
"""

import asyncio
import contextlib
import logging
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import AbstractContextManager
from dataclasses import asdict
from typing import Final, Protocol

from coordinator.answers.queue import Queue, QueueEntry
from coordinator.codes.level import Level
from coordinator.core.events import Refused
from coordinator.playing import queue as rules
from coordinator.playing.runs import Runs, Wanted
from coordinator.programs import ProgramError
from coordinator.programs.options import PlayOptions
from coordinator.programs.progress import Tell, untold
from coordinator.programs.words import missing_line
from coordinator.records.taught import TaughtKeeper
from coordinator.store import Store, StoreError, settings
from coordinator.teaching.taught import TaughtError
from coordinator.workers.planner import PlannerBusy

KEY: Final = "queue"
"""Of the setting in which it is kept."""
FAILURES: Final = (Refused, TaughtError, StoreError, ProgramError, PlannerBusy)
"""What can keep an entry from beginning."""
_logger = logging.getLogger(__name__)


class Arm(Protocol):
    """What is told of the arm while the queue is played."""

    def announce(self, what: str) -> None:
        """What will be played without another command; empty for nothing any more."""

    def tell(self, level: Level, code: str, message: str) -> None:
        """Tell people something."""


class Player(Protocol):
    """The client for which the queue is played."""

    @property
    def name(self) -> str:
        """What it is called."""

    def commanding(self) -> AbstractContextManager[object]:
        """Have control in here. Raises Refused while another client has it."""

    async def has_left(self) -> bool:
        """Whether it is gone as a later entry begins. Raises Refused where another has control."""


class QueuePlayer:
    """The queue of one arm. Belongs to one event loop."""

    def __init__(self, store: Store, runs: Runs, taught: TaughtKeeper, arm: Arm) -> None:
        self.queue: Queue = rules.NOTHING
        """As it is now."""
        self._store = store
        self._runs = runs
        self._taught = taught
        self._arm = arm
        self._known = False
        self._lock = asyncio.Lock()
        self._task: asyncio.Task[None] | None = None

    async def now(self) -> Queue:
        """The queue as it is. Raises StoreError where it cannot be read."""
        if not self._known:
            async with self._opened():
                pass
        return self.queue

    async def edit(self, revision: int, edit: rules.QueueEdit) -> Queue:
        """Make an edit, on the disk before it counts.

        Raises Refused, StoreError, NoSuch for what is not kept, and ProgramError for a line to
        begin from that it does not have now.
        """
        async with self._opened():
            name = await self._added(edit)
            rules.require_seen(self.queue, revision)
            after = rules.edited(self.queue, edit, name)
            kept = asdict(after)
            await self._store.confirmed(lambda connection: settings.put(connection, KEY, kept))
            # An entry that came to its turn while the disk was waited for is not removed.
            self.queue = rules.edited(self.queue, edit, name)
            if self.queue != after:
                self._set(self.queue)
            if self.queue.playing:
                self._announce_next()
            return self.queue

    async def play(
        self,
        revision: int,
        player: Player,
        halts: int,
        has_left: Callable[[], Awaitable[bool]],
        tell: Tell = untold,
    ) -> int:
        """Play it from its first entry on; the first run's number.

        The first does not begin for somebody who `has_left` while it was planned. Raises what a
        play raises where that run does not begin, and then the queue has not begun.
        """
        async with self._opened():
            rules.require_seen(self.queue, revision)
            before = self.queue
            self._set(rules.begun(before))
            try:
                entry, run = await self._begin(player, halts, has_left, tell)
            except BaseException as error:
                first = before.entries[0]
                known = isinstance(error, FAILURES)
                self._set(rules.refused(before, first.id, _cause(error)) if known else before)
                self._arm.announce("")
                if isinstance(error, ProgramError):
                    of = f"{first.name}, entry 1 of the queue,"
                    raise ProgramError(error.problems, of) from error
                raise
            count = len(self.queue.entries)
            said = f"{player.name} plays the queue: {count} entr{'y' if count == 1 else 'ies'}"
            self._arm.tell(Level.INFO, "queue-began", said)
            self._task = asyncio.get_running_loop().create_task(self._go_on(player, entry, run))
            return run

    async def _added(self, edit: rules.QueueEdit) -> str:
        """The name of what is added, and empty where nothing is. Raises what `edit` does."""
        match edit:
            case rules.AddEntry(taught=taught, options=options):
                name, text = await self._taught.text_of(taught)
                _require_line(name, text, options)
                return name
            case rules.SetOptions(options=options) if options.from_line is not None:
                one = next((one for one in self.queue.entries if one.id == edit.entry), None)
                if one is not None:
                    _require_line(*await self._taught.text_of(one.taught), options)
        return ""

    async def close(self) -> None:
        """Nothing further begins."""
        if self._task is not None:
            self._task.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await self._task

    async def _begin(
        self,
        player: Player,
        halts: int,
        has_left: Callable[[], Awaitable[bool]],
        tell: Tell = untold,
    ) -> tuple[QueueEntry, int]:
        """Begin the entry whose turn it is; it, and its run."""
        entry = rules.next_of(self.queue)
        assert entry is not None, "who begins one looks first"
        self._set(rules.turn_of(self.queue, entry.id, entry.name))
        name, text = await self._taught.text_of(entry.taught)
        self._set(rules.turn_of(self.queue, entry.id, name))
        wanted = Wanted(name, text, entry.options, entry.taught)
        run = await self._runs.play(wanted, has_left, player.name, halts, tell)
        self._set(rules.running(self.queue, entry.id, run))
        self._announce_next()
        return entry, run

    def _announce_next(self) -> None:
        following = rules.next_of(self.queue) if self.queue.playing else None
        self._arm.announce(f"{following.name}, next in the queue" if following else "")

    async def _go_on(self, player: Player, entry: QueueEntry, run: int) -> None:
        """From a run that goes on to the queue's end."""
        try:
            while True:
                report = await self._runs.over(run)
                self._set(rules.over(self.queue, entry.id, report.outcome, report.told))
                following = rules.next_of(self.queue)
                if not self.queue.playing or following is None:
                    break
                entry = following
                halts = self._runs.consented
                try:
                    with player.commanding():
                        entry, run = await self._begin(player, halts, player.has_left)
                except FAILURES as error:
                    self._set(rules.ended(self.queue, entry.id, _cause(error)))
                    break
        except Exception:
            _logger.exception("the queue made a mistake")
            why = "the coordinator made a mistake; its log says more"
            self._set(rules.ended(self.queue, entry.id, why))
        finally:
            self._arm.announce("")
        done = "the queue is played to its end"
        level = Level.ATTENTION if self.queue.message else Level.INFO
        self._arm.tell(level, "queue-ended", self.queue.message or done)

    def _set(self, queue: Queue) -> None:
        """It is this now; a disk that does not take it costs nothing but what is shown later."""
        self.queue = queue
        kept = asdict(queue)
        written = self._store.write(lambda connection: settings.put(connection, KEY, kept))
        written.add_done_callback(_done)

    @contextlib.asynccontextmanager
    async def _opened(self) -> AsyncIterator[None]:
        async with self._lock:
            if not self._known:
                kept = await self._store.read(lambda connection: settings.get(connection, KEY))
                try:
                    self.queue = rules.NOTHING if kept is None else rules.taken_up(kept)
                except ValueError as error:
                    _logger.error("the queue begins anew: %s", error)
                self._known = True
            yield


def _cause(error: BaseException) -> str:
    """Why an entry did not begin, in one line: of many mistakes the first one."""
    if not isinstance(error, ProgramError):
        return str(error)
    first, *others = error.problems
    more = f"; and {len(others)} more mistake{'s' if len(others) > 1 else ''}" if others else ""
    return f"{first}{more}"


def _done(written: asyncio.Future[None]) -> None:
    if not written.cancelled() and (error := written.exception()) is not None:
        _logger.warning("the queue is not kept as it is: %s", error)


def _require_line(name: str, text: str, options: PlayOptions) -> None:
    """Raise ProgramError where a program does not have the line to begin from."""
    line = options.from_line
    if line is not None and (missing := missing_line(line, text)):
        raise ProgramError([missing], name)
