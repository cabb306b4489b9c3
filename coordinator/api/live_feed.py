"""The live feed: what all who watch are told, encoded once for all.

A reader that is too slow is dropped and may come back; nothing waits for it.
"""

import asyncio
import hashlib
import logging
from collections.abc import Callable
from dataclasses import dataclass
from importlib.metadata import version
from typing import Final

import orjson

from coordinator.answers.control import ControlState
from coordinator.answers.queue import Queue
from coordinator.api.feed_changes import FeedState, Members, change, feed_state
from coordinator.api.history import History
from coordinator.core.preview import Preview
from coordinator.core.snapshot.arm import ArmSnapshot
from coordinator.web import WEB

MOVING_S: Final = 0.05
IDLE_S: Final = 0.25
"""From one message to the next; a page takes silence of a second for the coordinator's end."""
AHEAD_US: Final = 500_000
"""After which planned angles are told anew."""
QUEUED: Final = 40
"""Messages that may wait for a reader: two seconds of motion."""
AT_ONCE: Final = 20
"""Readers that are told before the loop looks at its sockets again: each takes it 35 µs, and the
arm must not wait for two hundred."""
_logger = logging.getLogger(__name__)


class Reader:
    """The messages of one who watches. `dropped` is set once too many wait."""

    def __init__(self) -> None:
        self.begun = False
        """Whether it was told the whole, so that changes say something to it."""
        self.dropped = asyncio.Event()
        self._queue: asyncio.Queue[str] = asyncio.Queue(QUEUED)

    def put(self, message: str) -> None:
        """Have a message wait for the reader, or drop the reader."""
        try:
            self._queue.put_nowait(message)
        except asyncio.QueueFull:
            self.dropped.set()

    async def take(self) -> str:
        """The next message."""
        return await self._queue.get()


@dataclass(frozen=True, slots=True)
class Seen:
    """What a message of the feed is made of, beside where joints are planned to be."""

    arm: ArmSnapshot
    control: ControlState
    taught_revision: int
    queue: Queue


class LiveFeed:
    """What one service tells all who watch. `run` keeps it going.

    `look` gives what is so now and `look_ahead` where joints are planned to be; `failed` is set
    once the coordinator is broken, whereupon nothing is told any more.
    """

    def __init__(
        self,
        look: Callable[[], Seen],
        look_ahead: Callable[[], Preview | None],
        failed: asyncio.Event,
    ) -> None:
        self.lag_s = 0.0
        """How late the loop came to the last message."""
        self._look = look
        self._look_ahead = look_ahead
        self._failed = failed
        self._history = History()
        self._readers: set[Reader] = set()
        self._told: FeedState | None = None
        """The state that those who have begun know."""
        self._seq = 0
        self._preview: Preview | None = None
        self._preview_key: object = None
        self._version = _version()

    async def run(self) -> None:
        """Tell what changes, until cancelled or until the coordinator breaks."""
        loop = asyncio.get_running_loop()
        while not self._failed.is_set():
            wait_s = IDLE_S
            try:
                if await self.tick():
                    wait_s = MOVING_S
            except Exception:
                _logger.exception("the live feed made a mistake; it begins anew")
                self._told = None
            due = loop.time() + wait_s
            await asyncio.sleep(wait_s)
            self.lag_s = max(0.0, loop.time() - due)

    @property
    def watchers(self) -> int:
        """How many watch."""
        return len(self._readers)

    def join(self) -> Reader:
        """A new reader, which is told the whole first."""
        reader = Reader()
        self._readers.add(reader)
        return reader

    def leave(self, reader: Reader) -> None:
        """A reader has gone."""
        self._readers.discard(reader)

    async def tick(self) -> bool:
        """Tell all what is so now; whether anything moves."""
        seen = self._look()
        arm = seen.arm
        self._history.take(arm)
        state = feed_state(
            arm, seen.control, self._preview_of(arm), seen.taught_revision, seen.queue
        )
        before, self._told = self._told, None
        if self._readers:
            self._seq += 1
            begun = [one for one in self._readers if one.begun and before is not None]
            new = [one for one in self._readers if not one.begun or before is None]
            if before is not None and begun:
                await _tell(begun, self._change(before, state))
            if new:
                await _tell(new, self._whole(state))
            self._told = state
        # After a stop the run is over while the joints still brake.
        return arm.busy or any(joint.velocity_deg_s for joint in arm.joints)

    def _preview_of(self, arm: ArmSnapshot) -> Preview | None:
        """Planned angles, anew only when they are others, or the old ones are old."""
        key: object = None
        if (run := arm.run) is not None:
            start_us = run.start.at_us if run.start else None
            renewed = arm.now_us // AHEAD_US
            key = run.number, run.part, run.phase, start_us, run.rate_percent, renewed
        if key != self._preview_key:
            self._preview_key, self._preview = key, self._look_ahead()
        return self._preview

    def _whole(self, state: FeedState) -> Members:
        return {
            "type": "whole",
            "seq": self._seq,
            "version": self._version,
            "state": state.whole(),
            "history": self._history.kept(),
        }

    def _change(self, before: FeedState, state: FeedState) -> Members:
        found = change(before, state)
        return {
            "type": "change",
            "seq": self._seq,
            "at_us": state.now_us,
            "set": found.set,
            "joints": found.joints,
            "notes": found.notes,
        }


async def _tell(readers: list[Reader], message: Members) -> None:
    """Give one message to all."""
    text = orjson.dumps(message).decode()
    for k, reader in enumerate(readers, 1):
        reader.begun = True
        reader.put(text)
        if k % AT_ONCE == 0:
            await asyncio.sleep(0)


def _version() -> str:
    """Of the package and of the page, so that an old page knows that it is old."""
    digest = hashlib.sha256()
    for path in sorted(WEB.rglob("*")):
        if path.is_file() and "__pycache__" not in path.parts:
            digest.update(path.read_bytes())
    return f"{version('unisono')}-{digest.hexdigest()[:12]}"
