"""A joint that is offline, a link that is too poor for a start, and a clock that is not locked.

A clock that jumps is right again within seconds by itself, so that is a line of the journal: an
alarm it is only once it stays so, as then somebody must see to the joint.
"""

from typing import Final

from coordinator.codes.alarm_origin import AlarmOrigin
from coordinator.codes.priority import Priority
from coordinator.health.alarm_kind import Finding, Kind
from coordinator.timing.link_quality import WINDOW, LinkQuality
from coordinator.timing.start_delay import START_DELAY_MAX_US, wanted_start_delay_us
from protocol.constants import IDLE_INTERVAL_US

CLEAR: Final = 0.9
"""Of the longest start delay: below it a link is good enough again."""
BEGIN_AFTER_US: Final = (WINDOW + 25) * IDLE_INTERVAL_US
"""By then a single outage has left the exchanges that the worst link delay is made of, even at
rest: a start whose delay meets its cap for one outage alone is tried all the same."""
END_AFTER_US: Final = 10_000_000
RELOCKED_AFTER_US: Final = 5_000_000
UNLOCKED_AFTER_US: Final = 60_000_000
"""A clock that jumped is locked again in seconds; one that is not in a minute needs somebody."""

LOST_BEGINS_AFTER_US: Final = 2_000_000
"""Beside the silence by which a joint counts as lost: a run has told of it long before."""

LOST: Final[Kind] = Kind(
    "joint-offline",
    Priority.HIGH,
    AlarmOrigin.CONNECTION,
    cause="its supply failed, it is out of the network's reach, or the network is down",
    consequence="it comes to rest by its own rules, unseen; whatever ran is held or over",
    advice="where it is and whether it moves is not known: keep out of the arm's reach; see to "
    "its supply and to the network",
    over="is heard again",
    dead_band="it is heard",
    begin_after_us=LOST_BEGINS_AFTER_US,
)
POOR: Final[Kind] = Kind(
    "link-poor",
    Priority.LOW,
    AlarmOrigin.CONNECTION,
    cause="distance or metal between joint and access point, or other traffic on the channel",
    consequence="a start is likely to be refused",
    advice="bring access point, laptop and arm nearer together, or take other traffic off the "
    "network",
    over="has a link that is good enough again",
    dead_band=f"{CLEAR:.0%} of the longest start delay",
    begin_after_us=BEGIN_AFTER_US,
    end_after_us=END_AFTER_US,
)
LOSSY_SHARE: Final = 0.2
"""Lost exchanges from which a hold is likelier than none in a minute: two or three lost in a row
use up what a permit reaches ahead."""
LOSSY_CLEAR: Final = 0.1
LOSSY: Final[Kind] = Kind(
    "link-lossy",
    Priority.LOW,
    AlarmOrigin.CONNECTION,
    cause="distance or metal between joint and access point, or other traffic on the channel",
    consequence="starts are set further ahead, and the arm is likely to hold",
    advice="bring access point, laptop and arm nearer together, or take other traffic off the "
    "network",
    over="loses few datagrams again",
    dead_band=f"{LOSSY_CLEAR:.0%} lost, where {LOSSY_SHARE:.0%} are too many",
    begin_after_us=BEGIN_AFTER_US,
    end_after_us=END_AFTER_US,
)
CLOCK: Final[Kind] = Kind(
    "clock-unlocked",
    Priority.MEDIUM,
    AlarmOrigin.CLOCK,
    cause="its crystal is out of tolerance, or its link is too poor to tell its time by",
    consequence="nothing starts, and what is held does not go on",
    advice="switch the joint off and on; exchange its controller if that does not help",
    over="has a clock that is locked again",
    dead_band="it is locked",
    begin_after_us=UNLOCKED_AFTER_US,
    end_after_us=RELOCKED_AFTER_US,
)
DOUBTED: Final[Kind] = Kind(
    "clock-doubted",
    Priority.JOURNAL,
    AlarmOrigin.CLOCK,
    cause="it jumped, as when its joint was halted for a moment",
    consequence="nothing starts before it is locked again",
    advice="",
    over="has a clock that is locked again",
    dead_band="it is locked",
    end_after_us=RELOCKED_AFTER_US,
)
"""No alarm: by itself it is locked again, and `CLOCK` begins where it is not."""


def poor(name: str, quality: LinkQuality) -> Finding:
    """Whether a start would need a longer start delay than a start may have."""
    if not quality.measured:
        return Finding(POOR, None)
    start_delay_us = wanted_start_delay_us(quality.worst_delay_us)
    if start_delay_us <= START_DELAY_MAX_US:
        return Finding(POOR, None if start_delay_us > CLEAR * START_DELAY_MAX_US else False)
    return Finding(
        POOR,
        True,
        f"{name}: its link is too poor to start: worst link delay "
        f"{quality.worst_delay_us / 1e3:.0f} ms with "
        f"{quality.loss:.0%} lost when this began would need a start delay of "
        f"{start_delay_us / 1e3:.0f} ms, "
        f"{START_DELAY_MAX_US / 1e3:.0f} ms are possible; a start is likely to be refused",
    )


def lossy(name: str, quality: LinkQuality) -> Finding:
    """Whether so much is lost that the arm will hold again and again."""
    if not quality.measured:
        return Finding(LOSSY, None)
    if quality.loss < LOSSY_SHARE:
        return Finding(LOSSY, None if quality.loss > LOSSY_CLEAR else False)
    return Finding(
        LOSSY,
        True,
        f"{name}: {quality.loss:.0%} of the exchanges with it were lost when this began, "
        f"{LOSSY_SHARE:.0%} are already many: starts are set further ahead, and the arm is "
        "likely to hold",
    )


def unlocked(name: str, reason: str, quality: LinkQuality) -> tuple[Finding, Finding]:
    """Whether a clock is not trusted though there was time enough; `reason` is empty if it is.

    The first is for the journal, the second the alarm.
    """
    bad = bool(reason)
    if bad and not quality.measured:
        return Finding(DOUBTED, None), Finding(CLOCK, None)
    message = f"{name}: {reason}; nothing starts with it" if bad else ""
    return Finding(DOUBTED, bad, message), Finding(CLOCK, bad, message)
