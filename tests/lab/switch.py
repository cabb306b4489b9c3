"""A switch in user space: it passes frames between hosts, as badly as the links are told to.

A `Way` says what becomes of a frame, and when; it knows no clock and no socket. The `Switch` is a
thread that reads frames from every host, learns where which address is, and floods what is for many
or for somebody unknown. What is sent into a link waits there behind what went before it.
"""

import contextlib
import heapq
import itertools
import math
import os
import select
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator
from functools import partial
from random import Random
from typing import Final

from coordinator.testing.live_arm import run_before_others
from tests.lab.hosts import Host

FRAME_BYTES: Final = 2048
BROADCAST: Final = b"\xff" * 6
POWER_SAVE_MS: Final = 102.4
"""A sleeping station gets its frames at the next beacon: 100 units of 1.024 ms (IEEE 802.11)."""

Watcher = Callable[[str, bytes], None]
"""Gets the name of the host that sent a frame, and the frame. Called in the switch's thread."""


def is_for_many(frame: bytes) -> bool:
    """Whether a frame goes to a group: the first bit on the wire (IEEE 802.3)."""
    return bool(frame[0] & 1)


class Way:
    """One direction of a link. Shares are from 0 to 1, of frames; what is not set does nothing."""

    def __init__(self, seed: str) -> None:
        self._random = Random(seed)
        self._last_s = -math.inf
        self.restore()

    def restore(self) -> None:
        """Be a cable again."""
        self.delay_ms = 0.0
        self.jitter_ms = 0.0
        """Beside the delay, evenly start skew from 0."""
        self.loss = 0.0
        self.multicast_loss = 0.0
        """Of frames for many: no station acknowledges these on Wi-Fi, so none is repeated."""
        self.multicast_blocked = False
        """As access points do that filter multicasts. Broadcasts pass, or nobody would be found."""
        self.batch_ms = 0.0
        """Frames wait for the next multiple of this."""
        self.duplication = 0.0
        self.cut_until_s = -math.inf
        """By `time.monotonic`."""

    def arrivals(self, frame: bytes, now_s: float) -> list[float]:
        """When a frame that is sent now arrives: never, once, or twice. Calls in order of time."""
        draw = self._random.random
        many = is_for_many(frame)
        if now_s < self.cut_until_s or draw() < self.loss:
            return []
        if many and draw() < self.multicast_loss:
            return []
        if many and self.multicast_blocked and frame[:6] != BROADCAST:
            return []
        at_s = now_s + (self.delay_ms + self.jitter_ms * draw()) / 1000
        if self.batch_ms:
            batch_s = self.batch_ms / 1000
            at_s = math.ceil(at_s / batch_s) * batch_s
        self._last_s = at_s = max(at_s, self._last_s)
        return [at_s, at_s] if draw() < self.duplication else [at_s]


class Link:
    """Both ways of one host's link. For what has no method here, set the way's own figures."""

    def __init__(self, name: str, seed: int) -> None:
        self.to_host = Way(f"to {name} {seed}")
        self.from_host = Way(f"from {name} {seed}")
        self._ways = (self.to_host, self.from_host)

    def delay(
        self, *, to_joint_ms: float = 0.0, from_joint_ms: float = 0.0, jitter_ms: float = 0.0
    ) -> None:
        """Delay what goes to this host and what comes from it, from now on."""
        self.to_host.delay_ms, self.from_host.delay_ms = to_joint_ms, from_joint_ms
        self.to_host.jitter_ms = self.from_host.jitter_ms = jitter_ms

    def lose(self, share: float) -> None:
        """Lose frames, whichever, both ways."""
        for way in self._ways:
            way.loss = share

    def lose_multicast(self, share: float) -> None:
        """Lose frames for many on their way to this host; a station's own are acknowledged."""
        self.to_host.multicast_loss = share

    def block_multicast(self) -> None:
        """Let no multicast pass."""
        for way in self._ways:
            way.multicast_blocked = True

    def batch(self, every_ms: float = POWER_SAVE_MS) -> None:
        """Let this host's radio sleep: it gets frames at every beacon only."""
        self.to_host.batch_ms = every_ms

    def duplicate(self, share: float) -> None:
        """Let frames come twice, both ways."""
        for way in self._ways:
            way.duplication = share

    def cut(self, for_s: float = math.inf) -> None:
        """Let nothing pass for so long."""
        for way in self._ways:
            way.cut_until_s = time.monotonic() + for_s

    @property
    def is_cut(self) -> bool:
        """Whether nothing passes now."""
        return any(time.monotonic() < way.cut_until_s for way in self._ways)

    def restore(self) -> None:
        """Be a cable again."""
        for way in self._ways:
            way.restore()


class Switch:
    """Joins hosts; runs from `start` to `close`."""

    def __init__(self, hosts: dict[str, Host], seed: int = 0) -> None:
        self.links = {name: Link(name, seed) for name in hosts}
        self.broken: BaseException | None = None
        """Why it stopped by itself: a watcher failed."""
        self._hosts = hosts
        self._by_tap = {host.tap: name for name, host in hosts.items()}
        self._places: dict[bytes, str] = {}
        self._queue: list[tuple[float, int, Callable[[float], None]]] = []
        self._order = itertools.count()
        self._watchers: tuple[Watcher, ...] = ()
        self._handed: deque[Callable[[float], None]] = deque()
        self._wake = os.eventfd(0, os.EFD_NONBLOCK)
        self._ended = False
        self._thread = threading.Thread(target=self._run, name="switch", daemon=True)

    def start(self) -> None:
        """Begin to pass frames."""
        self._thread.start()

    def close(self) -> None:
        """Stop; frames under way are lost."""
        self._ended = True
        os.eventfd_write(self._wake, 1)
        self._thread.join()
        os.close(self._wake)

    @contextlib.contextmanager
    def watched(self, watcher: Watcher) -> Iterator[None]:
        """Show every frame that a host sends to this one too, before anything becomes of it."""
        self._watchers = (*self._watchers, watcher)
        try:
            yield
        finally:
            self._watchers = tuple(one for one in self._watchers if one is not watcher)

    def send(self, to: str, frame: bytes) -> None:
        """Put a forged frame before a host at once, whatever its link does."""
        self._handed.append(lambda _now_s: self._write(to, frame))
        os.eventfd_write(self._wake, 1)

    # ---- the thread -----------------------------------------------------------------------

    def _run(self) -> None:
        run_before_others()
        try:
            while not self._ended:
                self._turn()
        except BaseException as error:  # noqa: BLE001  # told to the test in its own thread
            self.broken = error

    def _turn(self) -> None:
        due_s = self._queue[0][0] - time.monotonic() if self._queue else None
        wait_s = None if due_s is None else max(0.0, due_s)
        readable, _, _ = select.select([self._wake, *self._by_tap], [], [], wait_s)
        now_s = time.monotonic()
        while self._queue and self._queue[0][0] <= now_s:
            at_s, _, act = heapq.heappop(self._queue)
            act(at_s)
        for tap in readable:
            if tap == self._wake:
                os.eventfd_read(self._wake)
                while self._handed:
                    self._handed.popleft()(now_s)
            else:
                self._read(tap, now_s)

    def _read(self, tap: int, now_s: float) -> None:
        name = self._by_tap[tap]
        with contextlib.suppress(BlockingIOError):
            while True:
                frame = os.read(tap, FRAME_BYTES)
                for watcher in self._watchers:
                    watcher(name, frame)
                self._later(
                    self.links[name].from_host, frame, now_s, partial(self._pass_on, name, frame)
                )

    def _later(self, way: Way, frame: bytes, now_s: float, act: Callable[[float], None]) -> None:
        for at_s in way.arrivals(frame, now_s):
            if at_s <= now_s:
                act(at_s)
            else:
                heapq.heappush(self._queue, (at_s, next(self._order), act))

    def _pass_on(self, source: str, frame: bytes, now_s: float) -> None:
        self._places[frame[6:12]] = source
        place = None if is_for_many(frame) else self._places.get(frame[:6])
        for name in self._hosts if place is None else (place,):
            if name != source:
                self._later(
                    self.links[name].to_host,
                    frame,
                    now_s,
                    lambda _at_s, name=name: self._write(name, frame),  # type: ignore[misc]
                )

    def _write(self, name: str, frame: bytes) -> None:
        # A host whose device is down takes nothing, as in life.
        with contextlib.suppress(OSError):
            os.write(self._hosts[name].tap, frame)
