"""What was taught, kept: every change is on the disk before it counts.

Who edits names the revision that they saw, so that two who edit at a time cannot undo each other's
work unseen. After a write that failed or was too slow, what holds is read from the database again.
"""

import asyncio
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final, Protocol

from sqlalchemy import Connection

from coordinator.codes.refusal import RefusalCode
from coordinator.config.arm import Arm
from coordinator.core.events import Refused
from coordinator.store import Store, taught, texts
from coordinator.store.taught import Kept, KeptChange
from coordinator.teaching.changes import Change, applied, inverse, touched
from coordinator.teaching.known import Circumstances, NoSuch, waypoint_of
from coordinator.teaching.program import to_program
from coordinator.teaching.taught import KeptProgram, Sequence, Taught, TaughtError, Waypoint

LOOKED_BACK: Final = 100
"""Changes among which the sequence is looked for that was edited last."""


class Editing(Protocol):
    """An edit of what was taught."""

    def change(self, taught: Taught, known: Circumstances) -> Change:
        """What it comes to. Raises TaughtError or Refused."""

    def words(self, taught: Taught) -> str:
        """What it does, a clause. Raises TaughtError."""


@dataclass(frozen=True, slots=True)
class TaughtNow:
    """What holds now, and what can be taken back or done again: clauses, None for nothing."""

    revision: int
    taught: Taught
    undo: str | None
    redo: str | None
    newest_sequence: int | None = None
    """That which was edited last and is there still."""


class TaughtKeeper:
    """Waypoints and sequences of one arm. Belongs to one event loop.

    Everything raises StoreError where the disk fails; what edits raise TaughtError for what cannot
    be, and Refused for another revision than the last. Nothing is changed then.
    """

    def __init__(
        self, store: Store, arm: Arm, angles_deg: Callable[[], Mapping[str, float]]
    ) -> None:
        self.revision = 0
        """For whoever watches; the newest that is known."""
        self._store = store
        self._arm = arm
        self._angles_deg = angles_deg
        self._now: tuple[Kept, TaughtNow] | None = None
        """None while it is not sure what the disk holds."""
        self._lock = asyncio.Lock()

    def waypoint(self, number: int) -> Waypoint:
        """A waypoint, without waiting for the disk. Raises NoSuch, and Refused while it writes."""
        if self._now is None:
            raise Refused(
                RefusalCode.TAUGHT_CHANGED, "what was taught is just being written: press again"
            )
        return waypoint_of(self._now[0].taught, number)

    async def now(self) -> TaughtNow:
        """What holds now."""
        async with self._lock:
            return (await self._known())[1]

    async def edit(self, revision: int, edit: Editing, who: str) -> TaughtNow:
        """Make a change, by somebody; nothing where it comes to none."""
        async with self._lock:
            kept = await self._at(revision)
            next_id = kept.next_id

            def fresh() -> int:
                nonlocal next_id
                next_id += 1
                return next_id - 1

            new: list[str] = []

            def keep(text: str) -> str:
                new.append(text)
                return texts.digest_of(text)

            known = Circumstances(self._arm, fresh, keep, self._angles_deg)
            change = edit.change(kept.taught, known)
            if not change:
                return (await self._known())[1]
            after = applied(kept.taught, change)
            words = edit.words(kept.taught)
            about = sorted(touched(change, kept.taught))

            def write(connection: Connection) -> Kept:
                for text in new:
                    texts.keep(connection, text)
                head = taught.add(
                    connection, kept.head, change, who=who, words=words, sequences=about
                )
                return Kept(kept.revision + 1, head, next_id, after)

            return await self._write(kept, write)

    async def undo(self, revision: int) -> TaughtNow:
        """Take the last change back."""
        async with self._lock:
            kept = await self._at(revision)
            if kept.head is None:
                raise Refused(RefusalCode.NOTHING_TO_UNDO, "nothing was changed, or all is undone")
            head = kept.head

            def write(connection: Connection) -> Kept:
                told, change = taught.change(connection, head)
                before = applied(kept.taught, inverse(change))
                return Kept(kept.revision + 1, told.parent, kept.next_id, before)

            return await self._write(kept, write)

    async def redo(self, revision: int) -> TaughtNow:
        """Make the change again that was taken back last."""
        async with self._lock:
            kept = await self._at(revision)
            head = await self._store.read(lambda connection: taught.next_of(connection, kept.head))
            if head is None:
                raise Refused(RefusalCode.NOTHING_TO_REDO, "no change was undone last")

            def write(connection: Connection) -> Kept:
                after = applied(kept.taught, taught.change(connection, head)[1])
                return Kept(kept.revision + 1, head, kept.next_id, after)

            return await self._write(kept, write)

    async def program_text(self, program: KeptProgram) -> str:
        """The text of a kept program."""
        return await self._store.read(lambda connection: texts.load(connection, program.sha256))

    async def text_of(self, number: int) -> tuple[str, str]:
        """Name and text of a sequence or program as it is kept now. Raises NoSuch, TaughtError."""
        now = (await self.now()).taught
        if (sequence := now.sequences.get(number)) is not None:
            return sequence.name, to_program(sequence, now, self._arm)
        if (program := now.programs.get(number)) is not None:
            return program.name, await self.program_text(program)
        raise NoSuch(f"there is no sequence and no program {number}")

    async def require_text(self, number: int, text: str) -> None:
        """Raise NoSuch, or Refused where what has this number has another text than this."""
        now = (await self.now()).taught
        kept = now.sequences.get(number) or now.programs.get(number)
        if kept is None:
            raise NoSuch(f"there is no sequence and no program {number}")
        if self.digest(now, kept) != texts.digest_of(text):
            raise Refused(
                RefusalCode.TAUGHT_CHANGED,
                f"{kept.name!r} is kept with another text than this one; look at it and try again",
            )

    def digest(self, now: Taught, kept: Sequence | KeptProgram) -> str:
        """SHA-256 of a program's text, or of what a sequence is as a program."""
        if isinstance(kept, KeptProgram):
            return kept.sha256
        try:
            return texts.digest_of(to_program(kept, now, self._arm))
        except TaughtError:
            return ""  # a waypoint lacks a joint: no text was ever played that is it

    async def changes(self, before: int | None, limit: int, about: int | None) -> list[KeptChange]:
        """What was changed, newest first, undone or not; about one thing if it is named."""
        ids = None if about is None else (about,)
        return await self._store.read(
            lambda connection: taught.newest(connection, before, limit, ids)
        )

    async def as_after(self, change: int) -> Taught | None:
        """What was taught once a change had been made; None where there is no such change."""
        return await self._store.read(lambda connection: taught.as_after(connection, change))

    async def _at(self, revision: int) -> Kept:
        kept = (await self._known())[0]
        if revision != kept.revision:
            raise Refused(
                RefusalCode.TAUGHT_CHANGED,
                f"what was taught has changed meanwhile (revision {kept.revision}, you saw "
                f"{revision}); look at it and try again",
            )
        return kept

    async def _known(self) -> tuple[Kept, TaughtNow]:
        if self._now is None:
            self._now = await self._store.read(_with_words)
            self.revision = self._now[0].revision
        return self._now

    async def _write(self, before: Kept, write: Callable[[Connection], Kept]) -> TaughtNow:
        def work(connection: Connection) -> tuple[Kept, TaughtNow]:
            kept = write(connection)
            taught.put(connection, before.revision, kept)
            return kept, _words(connection, kept)

        self._now = None
        self._now = await self._store.confirmed(work)
        self.revision = self._now[0].revision
        return self._now[1]


def _with_words(connection: Connection) -> tuple[Kept, TaughtNow]:
    kept = taught.load(connection)
    return kept, _words(connection, kept)


def _words(connection: Connection, kept: Kept) -> TaughtNow:
    undo = taught.words_of(connection, kept.head)
    redo = taught.words_of(connection, taught.next_of(connection, kept.head))
    return TaughtNow(kept.revision, kept.taught, undo, redo, _newest(connection, kept))


def _newest(connection: Connection, kept: Kept) -> int | None:
    """What was about several sequences, such as a shift, was about none in particular."""
    if kept.head is None:
        return None
    about = kept.taught.sequences.keys()
    for change in taught.newest(connection, kept.head + 1, LOOKED_BACK, about):
        if len(change.sequences) == 1:
            return change.sequences[0]
    return max(kept.taught.sequences, default=None)
