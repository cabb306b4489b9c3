"""What happened and what was commanded, into the database. Nothing waits for it."""

import asyncio
import logging
from collections.abc import Callable

from coordinator.core.events import (
    Blink,
    Command,
    Hold,
    Home,
    Jog,
    Note,
    Override,
    Play,
    Resume,
    Stop,
)
from coordinator.stop_words import STOP_WORDS
from coordinator.store import Store, events
from coordinator.store.utc import utc_now
from protocol.constants import PPM

_logger = logging.getLogger(__name__)


class Journal:
    """Writes events in the order in which they are told. Belongs to one event loop.

    `missing` is told the code of an event that the disk did not take, and why; it is not tried
    again.
    """

    def __init__(self, store: Store, missing: Callable[[str, str], None]) -> None:
        self._store = store
        self._missing = missing
        self._trouble = ""

    def note(self, note: Note) -> None:
        """The core tells people something."""
        self._add(note.at_us, note.level, note.code, note.message, note.joint, None)

    def command(self, command: Command, number: int | None, who: str | None, now: int) -> None:
        """A command was carried out, with a number where it has one."""
        joint = command.joint if isinstance(command, Jog | Blink) else None
        code = f"command-{type(command).__name__.lower()}"
        self._add(now, "info", code, told(command, number), joint, who)

    def _add(
        self, at_us: int, level: str, code: str, message: str, joint: str | None, who: str | None
    ) -> None:
        utc = utc_now()
        written = self._store.write(
            lambda connection: events.add(
                connection,
                utc=utc, at_us=at_us, level=level, code=code, message=message, joint=joint, who=who,
            )
        )  # fmt: skip
        written.add_done_callback(lambda done: self._done(code, done))

    def _done(self, code: str, written: asyncio.Future[int]) -> None:
        error = None if written.cancelled() else written.exception()
        if error is None:
            self._trouble = ""
            return
        why = str(error)
        level = logging.DEBUG if why == self._trouble else logging.ERROR
        _logger.log(level, "event %s is not kept: %s", code, why)
        self._trouble = why
        self._missing(code, why)


def told(command: Command, number: int | None) -> str:
    """A command in words."""
    match command:
        case Home(joints=joints):
            return f"home {' '.join(joints) or 'all joints'}, homing {number}"
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
        case Jog(joint=joint, velocity_deg_s=velocity):
            return f"jog {joint} at {velocity:g} °/s"
        case Blink(joint=joint):
            return f"blink {joint}"
