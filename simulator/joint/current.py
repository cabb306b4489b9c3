"""Which current a motor at rest has: the full one, or after long at rest a reduced one.

It says nothing of rest or of drivers: the joint tells when it stirs, and asks before it moves.
"""

import math

from protocol.configuration import Configuration
from protocol.constants import CURRENT_SETTLE_US


class IdleCurrent:
    """Full at first. Times are joint times in µs."""

    def __init__(self) -> None:
        self.is_reduced = False
        self._stirred_us = 0.0
        self._settled_us = -math.inf

    def stir(self, now: float) -> None:
        """The joint moves, or may: its rest is counted from now on."""
        self._stirred_us = now

    def restore(self, now: float) -> None:
        """The joint may be about to move: the full current, at once."""
        self.stir(now)
        if self.is_reduced:
            self.is_reduced = False
            self._settled_us = now + CURRENT_SETTLE_US

    def forget(self) -> None:
        """The drivers are off: no current, and the full one when they are on again."""
        self.is_reduced, self._settled_us = False, -math.inf

    def settled(self, now: float) -> bool:
        """Whether the full current is there, and has settled: nothing moves before."""
        return not self.is_reduced and now >= self._settled_us

    def due_us(self, configuration: Configuration | None) -> float:
        """When the current is to be reduced; never where nothing says so, or it is."""
        idle = configuration.idle_current if configuration is not None else None
        if idle is None or self.is_reduced:
            return math.inf
        return self._stirred_us + idle.after_ms * 1_000
