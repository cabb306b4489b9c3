"""The live feed: what all who watch are told, encoded once for all.

A reader that is too slow is dropped and may come back; nothing waits for it.
"""

import asyncio
import hashlib
import logging
from importlib.metadata import version
from typing import Any, Final

import orjson

from coordinator.api.control import MOVING
from coordinator.api.desk import Desk
from coordinator.api.history import History
from coordinator.api.told import change, told
from coordinator.service import Service
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


class Feed:
    """What one service tells all who watch. `run` keeps it going."""

    def __init__(self, service: Service, desk: Desk) -> None:
        self.lag_s = 0.0
        """How late the loop came to the last message."""
        self._service = service
        self._desk = desk
        self._history = History()
        self._readers: set[Reader] = set()
        self._told: dict[str, Any] | None = None
        """The state that those who have begun know."""
        self._seq = 0
        self._ahead: tuple[Any, dict[str, Any] | None] = (None, None)
        self._version = _version()

    async def run(self) -> None:
        """Tell what changes, until cancelled or until the coordinator breaks."""
        loop = asyncio.get_running_loop()
        while not self._service.failed.is_set():
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
        state = self._now()
        self._history.take(state)
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
        return state["phase"] in MOVING or any(one["velocity_deg_s"] for one in state["joints"])

    def _now(self) -> dict[str, Any]:
        """What is to be told now."""
        snapshot = self._service.snapshot()
        now = snapshot["now_us"]
        state = told(snapshot)
        state["control"] = self._desk.control.state(now, moving=state["phase"] in MOVING)
        run = snapshot["run"]
        key = None
        if run is not None:
            start_us = run["start"]["at_us"] if run["start"] else None
            where = run["number"], run["part"], run["phase"]
            key = *where, start_us, run["rate_percent"], now // AHEAD_US
        if key != self._ahead[0]:
            self._ahead = key, self._service.ahead()
        state["ahead"] = self._ahead[1]
        return state

    def _whole(self, state: dict[str, Any]) -> dict[str, Any]:
        return {
            "type": "whole",
            "seq": self._seq,
            "version": self._version,
            "state": state,
            "history": self._history.to_json(),
        }

    def _change(self, before: dict[str, Any], state: dict[str, Any]) -> dict[str, Any]:
        differing = change(before, state)
        return {"type": "change", "seq": self._seq, "at_us": state["now_us"], **differing}


async def _tell(readers: list[Reader], message: dict[str, Any]) -> None:
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
