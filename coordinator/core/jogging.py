"""Jogging: one joint moves while its control is held, and a control let go moves nothing."""

from coordinator.core.events import Refused
from coordinator.core.link import JointLink
from coordinator.core.outbox import Outbox
from protocol.constants import EXPIRY_US

JOG_RENEWAL_US = 300_000
"""A jog command that is not repeated within this time is over: the control was let go."""


class Jog:
    """The jog of one joint, or none."""

    def __init__(self, outbox: Outbox) -> None:
        self.link: JointLink | None = None
        """The joint that is being jogged."""
        self._outbox = outbox
        self._velocity_deg_s = 0.0
        self._until_us = 0
        self._let_go_us = 0
        """Until then a jog that was ended must not have been asked for again."""

    def require_let_go(self, now: int) -> None:
        """Raise Refused while a control that was held through a jog's end is held still.

        It must not begin to move anything again.
        """
        if now < self._let_go_us:
            self._let_go_us = now + JOG_RENEWAL_US
            raise Refused("jog-ended", "the jog was ended; let go of the control first")

    def keep(self, link: JointLink, velocity_deg_s: float, now: int) -> None:
        """The control is held: begin, or go on for a while."""
        self.link, self._velocity_deg_s = link, velocity_deg_s
        self._until_us = now + JOG_RENEWAL_US

    def let_go(self, link: JointLink) -> None:
        """The control of a joint was let go: it brakes."""
        if self.link is link:
            self.link = None

    def end(self, now: int) -> None:
        """End a jog that its operator did not end."""
        if self.link is not None:
            self.link = None
            self._let_go_us = now + JOG_RENEWAL_US
            self._outbox.at_once = True

    def end_of(self, link: JointLink, now: int) -> None:
        """End the jog of a joint that was lost."""
        if self.link is link:
            self.end(now)

    def step(self, now: int) -> None:
        """End a jog that was not asked for again, or whose joint is silent."""
        if self.link is None:
            return
        if now >= self._until_us:
            self.link = None
            self._outbox.at_once = True
        elif not self.link.heard(now):
            self.end(now)

    def drive_fields(self, link: JointLink, now: int) -> tuple[int, int] | None:
        """Velocity in counts/s and expiry for a joint's drive, None for one that is not jogged."""
        if self.link is not link:
            return None
        return round(self._velocity_deg_s * link.joint.counts_per_degree), now + EXPIRY_US
