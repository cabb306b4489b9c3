"""A joint that is silent, a link that is too poor for a start, and a clock that is not locked."""

from typing import Final

from coordinator.health.warnings import Finding, Kind
from coordinator.timing.lead import LEAD_MAX_US, wanted_lead_us
from coordinator.timing.link_quality import WINDOW, LinkQuality
from protocol.constants import IDLE_INTERVAL_US

CLEAR: Final = 0.9
"""Of the longest lead: below it a link is good enough again."""
BEGIN_AFTER_US: Final = (WINDOW + 25) * IDLE_INTERVAL_US
"""By then a single outage has left the exchanges that Q is made of, even at rest: a start whose
lead meets its cap for one outage alone is tried all the same."""
END_AFTER_US: Final = 10_000_000
RELOCKED_AFTER_US: Final = 5_000_000

LOST_BEGINS_AFTER_US: Final = 2_000_000
"""Beside the silence by which a joint counts as lost: a run has told of it long before."""

LOST: Final = Kind(
    "joint-silent",
    "danger",
    "where it is and whether it moves is not known: keep out of the arm's reach; see to its supply "
    "and to the network",
    "is heard again",
    begin_after_us=LOST_BEGINS_AFTER_US,
)
POOR: Final = Kind(
    "link-poor",
    "attention",
    "bring access point, laptop and arm nearer together, or take other traffic off the network",
    "has a link that is good enough again",
    begin_after_us=BEGIN_AFTER_US,
    end_after_us=END_AFTER_US,
)
CLOCK: Final = Kind(
    "clock-unlocked",
    "attention",
    "wait until it is locked again; if that takes minutes or comes back, switch the joint off and "
    "on, and exchange its controller if that does not help",
    "has a clock that is locked again",
    end_after_us=RELOCKED_AFTER_US,
)


def lost(name: str, refused: str) -> Finding:
    """A joint that was heard once and is not now; `refused` says why it is not asked, if so."""
    message = f"{name} is not asked any more: {refused}" if refused else f"{name} is silent"
    return Finding(LOST, True, message)


def poor(name: str, quality: LinkQuality) -> Finding:
    """Whether a start would need a longer lead than a start may have."""
    if not quality.measured:
        return Finding(POOR, None)
    lead_us = wanted_lead_us(quality.q_us)
    if lead_us <= LEAD_MAX_US:
        return Finding(POOR, None if lead_us > CLEAR * LEAD_MAX_US else False)
    return Finding(
        POOR,
        True,
        f"{name}: its link is too poor to start: Q {quality.q_us / 1e3:.0f} ms with "
        f"{quality.loss:.0%} lost would need a lead of {lead_us / 1e3:.0f} ms, "
        f"{LEAD_MAX_US / 1e3:.0f} ms are possible; a start is likely to be refused",
    )


def unlocked(name: str, reason: str, quality: LinkQuality) -> Finding:
    """Whether a clock is not trusted though there was time enough; `reason` is empty if it is."""
    if not reason:
        return Finding(CLOCK, False)
    if not quality.measured:
        return Finding(CLOCK, None)
    return Finding(CLOCK, True, f"{name}: {reason}; nothing starts with it")
