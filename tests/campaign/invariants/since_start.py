"""What I3 goes by: how far apart leases may be since a start, and where joints came to rest.

Window and horizon follow from Q (design section 5); what counts is the largest Q since the start
by which a lease was raised.
"""

from dataclasses import dataclass

from coordinator.core.lease import (
    HORIZON_MAX_US,
    HORIZON_MIN_US,
    HORIZON_OVER_Q_US,
    WINDOW_MAX_US,
    WINDOW_MIN_US,
)


def window_us(q_us: int) -> int:
    """How far a lease may lie above another where Q of the slowest link is this."""
    return min(max(q_us, WINDOW_MIN_US), WINDOW_MAX_US)


def horizon_us(q_us: int) -> int:
    """How far ahead of now it may lie then."""
    return min(max(HORIZON_OVER_Q_US + q_us, HORIZON_MIN_US), HORIZON_MAX_US)


@dataclass(frozen=True, slots=True)
class Apart:
    """Where all joints of a start came to rest: how far apart they truly were, and might be."""

    network: str
    kind: str
    us: int
    allowed_us: int


@dataclass(slots=True)
class SinceStart:
    """What a laptop has sent since its newest start."""

    at_us: int
    q_us: int = 0
    """Largest Q of any link at which a lease was raised."""
    offered_us: int = 0
    turn_us: int = 0
    """When drives were sent last."""
    turn_q_us: int = 0
    before_q_us: int = 0
    """Q of the slowest link at that instant, and at the one before."""
    held: bool = False
    """Whether the operator asked for a hold."""
    lowered_us: int = 0
    """When a lease was sent first that lay below what every joint had reported."""

    def offer(self, lease_us: int) -> None:
        """A lease is sent. What it was raised by may have been measured a turn ago."""
        if lease_us > self.offered_us:
            self.q_us = max(self.q_us, self.turn_q_us, self.before_q_us)
        self.offered_us = lease_us

    @property
    def window_us(self) -> int:
        """The largest window that there was."""
        return window_us(self.q_us)

    @property
    def horizon_us(self) -> int:
        """The longest horizon that there was."""
        return horizon_us(self.q_us)
