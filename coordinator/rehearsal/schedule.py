"""What happens when, in virtual time: one queue, ordered by instant and then by when it was made.

Time is the world's true time in µs. Whatever happens is an entry here, so the same beginning gives
the same course.
"""

import heapq
from collections.abc import Callable

Happen = Callable[..., None]


class Schedule:
    """Runs until asked. `now` moves from one entry to the next."""

    def __init__(self, now_us: int) -> None:
        self.now = now_us
        self._queue: list[tuple[int, int, Happen, tuple[object, ...]]] = []
        self._made = 0
        """Entries until now: of two at one instant, the older one happens first."""

    def at(self, at_us: int, happen: Happen, *args: object) -> None:
        """Let something happen at an instant, in order."""
        self._made += 1
        heapq.heappush(self._queue, (at_us, self._made, happen, args))

    def run_until(self, until: Callable[[], bool], limit_us: int) -> bool:
        """Let time pass until a condition holds; False when the limit is reached first."""
        end_us = self.now + limit_us
        while not until():
            if not self._advance(end_us):
                return until()
        return True

    def run_for(self, duration_us: int) -> None:
        """Let time pass."""
        end_us = self.now + duration_us
        while self._advance(end_us):
            pass

    def _advance(self, end_us: int) -> bool:
        """Let the next thing happen, if it is not after `end_us`."""
        queue = self._queue
        if not queue or queue[0][0] > end_us:
            self.now = max(self.now, end_us)
            return False
        at_us, _, happen, args = heapq.heappop(queue)
        if at_us > self.now:
            self.now = at_us
        happen(*args)
        return True
