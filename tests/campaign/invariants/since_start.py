"""What I3 goes by: how far apart permits may be since a start, and where joints came to rest.

Window and horizon follow from the worst link delay (design section 5.1); what counts is the
largest worst link delay since the start by which a permit was raised.
"""

from dataclasses import dataclass

from coordinator.core.run import Phase
from coordinator.core.run.permit import (
    HORIZON_MAX_US,
    HORIZON_MIN_US,
    HORIZON_OVER_DELAY_US,
    WINDOW_MAX_US,
    WINDOW_MIN_US,
)
from coordinator.core.run.trouble import conflict
from coordinator.core.skew import shifted, too_wide
from coordinator.rehearsal.laptop import Laptop


def window_us(worst_delay_us: int) -> int:
    """How far a permit may lie above another where the worst link delay of the slowest link is
    this.
    """
    return min(max(worst_delay_us, WINDOW_MIN_US), WINDOW_MAX_US)


def horizon_us(worst_delay_us: int) -> int:
    """How far ahead of now it may lie then."""
    return min(max(HORIZON_OVER_DELAY_US + worst_delay_us, HORIZON_MIN_US), HORIZON_MAX_US)


def holds_unasked(laptop: Laptop) -> bool:
    """Whether the arm holds for twins, or for a clock (design section 5.3).

    That a joint is lost is no such reason: the arm is levelled then, and what is offered is never
    below what every joint has. A clock that is not trusted at all was broken by the scenario.
    """
    links, run = laptop.core.links, laptop.core.run
    if run is None or run.phase is not Phase.HOLDING:
        return False
    limit_us = run.context.skew_limit_us
    found = conflict(links) or shifted(links) or too_wide(links, limit_us, laptop.now)
    return found is not None


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
    worst_delay_us: int = 0
    """Largest the worst link delay of any link at which a permit was raised."""
    offered_us: int = 0
    turn_us: int = 0
    """When drives were sent last."""
    turn_worst_delay_us: int = 0
    worst_delay_before_us: int = 0
    """the worst link delay of the slowest link at that instant, and at the one before."""
    held: bool = False
    """Whether the operator asked for a hold."""
    lowered_us: int = 0
    """When a permit was sent first that lay below what every joint had reported."""

    def offer(self, permit_us: int) -> None:
        """A permit is sent. What it was raised by may have been measured a turn ago."""
        if permit_us > self.offered_us:
            self.worst_delay_us = max(
                self.worst_delay_us, self.turn_worst_delay_us, self.worst_delay_before_us
            )
        self.offered_us = permit_us

    @property
    def window_us(self) -> int:
        """The largest window that there was."""
        return window_us(self.worst_delay_us)

    @property
    def horizon_us(self) -> int:
        """The longest horizon that there was."""
        return horizon_us(self.worst_delay_us)
