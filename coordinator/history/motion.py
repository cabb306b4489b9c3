"""How long and how far a joint turned, how often it began to and turned back, from its statuses.

Between two statuses, 40 ms apart while anything moves, a joint counts as turning where its position
is another one; so what goes to and fro within that time is not seen. A joint that is not heard for
a second was off, as far as anybody knows, and what it did meanwhile is counted nowhere.
"""

from typing import Final

from coordinator.config.joint import Joint
from coordinator.history.quantities import Counts
from protocol.constants import US
from protocol.status import Status

LONGEST_US: Final = 1_000_000
"""Between two statuses: then a joint is offline (design section 5)."""
SPARE: Final = 1.5
"""Times its velocity limit is faster than any joint turns; whatever is faster was no motion, but
its position set anew."""
SPARE_DEG: Final = 1.0


class MotionCounter:
    """Counts for one joint. Times are arm time in µs."""

    def __init__(self, joint: Joint) -> None:
        self._joint = joint
        self._last: Status | None = None
        self._last_us = 0
        self._turns = False
        """Whether it turned between the last two statuses."""
        self._way = 0
        """In which direction it turned last, as a sign; 0 where that is not known."""
        self._counts = Counts()

    def take(self, status: Status, at_us: int) -> None:
        """A status that came then; one that is known already says nothing more."""
        last, passed_us = self._last, at_us - self._last_us
        if status is last:
            return
        self._last, self._last_us = status, at_us
        # Arm time begins anew after the laptop slept.
        if last is None or not 0 < passed_us <= LONGEST_US or last.boot != status.boot:
            self._forget()
            return
        by = status.position - last.position
        if last.homed != status.homed or not self._is_motion(by, passed_us):
            self._forget()
            by = 0
        self._count(by, passed_us)

    def drained(self) -> Counts:
        """What was counted since it was asked for last."""
        counts, self._counts = self._counts, Counts()
        return counts

    def _forget(self) -> None:
        self._turns, self._way = False, 0

    def _is_motion(self, by: int, passed_us: int) -> bool:
        most_deg = SPARE * self._joint.velocity_deg_s * passed_us / US + SPARE_DEG
        return abs(self._joint.to_degrees(by)) <= most_deg

    def _count(self, by: int, passed_us: int) -> None:
        turned, self._turns = self._turns, by != 0
        way = (by > 0) - (by < 0)
        self._counts += Counts(
            on_us=passed_us,
            moving_us=passed_us if by else 0,
            starts=int(by != 0 and not turned),
            reversals=int(way != 0 and way == -self._way),
            distance_udeg=round(abs(self._joint.to_degrees(by)) * 1e6),
        )
        self._way = way or self._way
