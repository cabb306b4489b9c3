"""What happened and what was commanded, into the database and from it. Nothing waits for it."""

import asyncio
import logging
from collections.abc import Callable
from typing import Any

from coordinator.codes.level import Level
from coordinator.core.events import (
    Blink,
    CancelSurvey,
    CancelUpdate,
    Command,
    Go,
    Hold,
    HoldHome,
    Home,
    Jog,
    Note,
    Override,
    Play,
    Resume,
    Step,
    Stop,
    Survey,
    Switch,
    Update,
)
from coordinator.core.stop_words import STOP_WORDS
from coordinator.records.trouble_log import TroubleLog
from coordinator.store import Store, events
from coordinator.store.utc import utc_now
from protocol.constants import PPM, US

_logger = logging.getLogger(__name__)


class Journal:
    """Writes events in the order in which they are told. Belongs to one event loop.

    `missing` is told the code of an event that the disk did not take, and why; it is not tried
    again.
    """

    def __init__(self, store: Store, missing: Callable[[str, str], None]) -> None:
        self._store = store
        self._missing = missing
        self._trouble = TroubleLog(_logger)

    def note(self, note: Note) -> None:
        """The core tells people something."""
        self._add(note, None)

    def command(
        self,
        command: Command,
        number: int | None,
        who: str | None,
        now: int,
        *,
        detail: bool = False,
    ) -> Note:
        """A command was carried out, with a number where it has one; the line that is written.

        It is the line for what was asked; what the core tells of that are details of it. A detail
        itself where it is a part of something else that somebody asked.
        """
        joint = _joint_of(command)
        code = f"command-{type(command).__name__.lower()}"
        note = Note(now, Level.INFO, code, command_words(command, number), joint, detail)
        self._add(note, who)
        return note

    async def newest(
        self, before: int | None, limit: int, *, details: bool
    ) -> list[dict[str, Any]]:
        """What is kept, newest first, before the event of an id if one is given. Raises
        StoreError.
        """
        return await self._store.read(
            lambda connection: events.newest(connection, before, limit, details=details)
        )

    async def of_run(
        self, run: int, until_us: int | None, limit: int
    ) -> list[dict[str, Any]] | None:
        """At most `limit` lines of a run, oldest first, up to an instant of arm time if any.

        None where the journal does not know the run. Raises StoreError.
        """
        return await self._store.read(
            lambda connection: events.of_run(connection, run, until_us, limit)
        )

    def _add(self, note: Note, who: str | None) -> None:
        utc, code = utc_now(), note.code
        written = self._store.write(
            lambda connection: events.add(
                connection,
                utc=utc, at_us=note.at_us, level=note.level, code=code, message=note.message,
                joint=note.joint, who=who, detail=note.detail,
            )
        )  # fmt: skip
        written.add_done_callback(lambda done: self._done(code, done))

    def _done(self, code: str, written: asyncio.Future[int]) -> None:
        error = None if written.cancelled() else written.exception()
        if error is None:
            self._trouble.over()
            return
        why = str(error)
        self._trouble.add(why, f"event {code} is not kept: {why}")
        self._missing(code, why)


def _joint_of(command: Command) -> str | None:
    """The one joint that a command is about, if it is about one."""
    if isinstance(command, Jog) and len(command.velocities_deg_s) == 1:
        return next(iter(command.velocities_deg_s))
    about_one = Step | HoldHome | Blink | Update | CancelUpdate
    return command.joint if isinstance(command, about_one) else None


def command_words(command: Command, number: int | None) -> str:
    """A command in words."""
    match command:
        case Home(joints=joints):
            return f"home {' '.join(joints) or 'all joints'}, homing {number}"
        case HoldHome(joint=joint):
            return f"home {joint} while its control is held, homing {number}"
        case Play(name=name):
            return f"play {name}, run {number}"
        case Hold():
            return "hold"
        case Resume():
            return "resume"
        case Stop(level=level):
            return f"stop, level {STOP_WORDS[level]}"
        case Override(rate_ppm=rate_ppm):
            return f"override {rate_ppm * 100 / PPM:g} %"
        case Jog(velocities_deg_s=velocities_deg_s):
            turns = [f"{name} at {deg_s:g} °/s" for name, deg_s in velocities_deg_s.items()]
            return f"jog {', '.join(turns)}"
        case Step(joint=joint, by_deg=by_deg):
            return f"step {joint} by {by_deg:g}°"
        case Go(name=name):
            return f"go to {name}"
        case Blink(joint=joint):
            return f"blink {joint}"
        case Switch(output=output, on=on):
            return f"switch {output} {'on' if on else 'off'}"
        case Update(joint=joint, file=file):
            header = file.header
            return f"update {joint} to {header.firmware}, {header.size_bytes} bytes"
        case CancelUpdate(joint=joint):
            return f"cancel the update of {joint}"
        case Survey(joints=joints, for_us=for_us):
            return f"survey the links of {' '.join(joints) or 'all joints'} for {for_us / US:g} s"
        case CancelSurvey():
            return "cancel the survey of links"
