"""Full current in every motor before anything begins to move (wire protocol, Current).

A joint reduces its current by itself after long at rest. So a status of a moment ago that shows
the full one is worth nothing where that time may be over since: then only an answer to a drive
that asked for the full current counts.
"""

from collections.abc import Sequence

from coordinator.config.arm import Arm
from coordinator.core.configure import idle_current
from coordinator.core.link.link import LOST_AFTER_US, JointLink
from protocol.constants import US


class Currents:
    """Who may have a reduced current, and whether drives ask for the full one."""

    def __init__(self, arm: Arm, links: Sequence[JointLink]) -> None:
        self._links = [link for link in links if idle_current(link.joint, arm) is not None]
        # No joint that is heard has missed drives for longer than that.
        after_s = arm.idle_current.after_s if arm.idle_current is not None else 0.0
        self._sure_us = round(after_s * US) - LOST_AFTER_US
        self._asked_us: int | None = None
        self._after: dict[str, int] = {}
        """By joint the last drive before the full current was asked for, where that was needed."""
        self.is_asked = False
        """Whether drives ask for the full current."""

    def turn(self, now: int, *, wanted: bool) -> None:
        """Before the drives of a turn: whether some joint moves, or is about to."""
        is_sure = self._asked_us is not None and now - self._asked_us < self._sure_us
        if wanted and not self.is_asked and not is_sure:
            self._after = {link.name: link.orders.sequence for link in self._links}
        if wanted:
            self._asked_us = now
        self.is_asked = wanted

    def are_full(self, now: int, *, counts_silent: bool = False) -> bool:
        """Whether every motor that is heard has its full current, settled.

        Where all joints are needed, one that is silent counts too: nobody knows of its current.
        """
        return not any(self._waits(link, now, counts_silent) for link in self._links)

    def _waits(self, link: JointLink, now: int, counts_silent: bool) -> bool:
        status = link.status
        if not link.reduces_current:
            return False
        if status is None or not link.heard(now):
            return counts_silent
        return status.reduced or status.sequence <= self._after.get(link.name, -1)

    def begin_session(self) -> None:
        """Drives are numbered anew; joints have their full current."""
        self._after, self._asked_us, self.is_asked = {}, None, False
