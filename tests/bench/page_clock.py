"""What relates the page to the truth: its clock, what it showed when, when a joint began to brake.

Pure. All instants are of the machine's raw monotonic clock in µs, as in the truth log.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

SHOWN = {"start": "moving", "stop": "stopped"}
"""By an event of the truth log: the word that the joint's lane has from then on."""

Exchange = tuple[float, float, float]
"""The raw clock before the page was asked for its own, its answer in ms, the raw clock after."""
Seen = tuple[str, str, float]
"""A joint, the new word in its lane, and when by the page's clock in ms."""


@dataclass(frozen=True, slots=True)
class PageClock:
    """How the page's `performance.now()` stands to the raw clock."""

    offset_us: float
    error_us: float
    """By which the offset may be off at most: the page answered within the exchange."""

    def raw_us(self, page_ms: float) -> float:
        """The raw clock at an instant of the page."""
        return page_ms * 1000 + self.offset_us


def page_clock(exchanges: Sequence[Exchange]) -> PageClock:
    """By the shortest exchange."""
    before, page_ms, after = min(exchanges, key=lambda one: one[2] - one[0])
    return PageClock((before + after) / 2 - page_ms * 1000, (after - before) / 2)


def latencies_us(
    truths: Iterable[Mapping[str, Any]], seen: Sequence[Seen], clock: PageClock
) -> dict[str, list[float]]:
    """By event: from each joint's change until its lane said so. What was never said is left out.

    `seen` begins before the changes and has each word at most once for each of them.
    """
    found: dict[str, list[float]] = {event: [] for event in SHOWN}
    for line in truths:
        if line["event"] not in SHOWN:
            continue
        at_us = line["at_ns"] / 1000
        shown = [
            clock.raw_us(ms) - at_us
            for name, word, ms in seen
            if (name, word) == (line["joint"], SHOWN[line["event"]])
            and clock.raw_us(ms) >= at_us - clock.error_us
        ]
        if shown:
            found[line["event"]].append(min(shown))
    return found


def braking_us(rest_ns: int, speed_deg_s: float, deceleration_deg_s2: float) -> float:
    """When a joint began to brake that came to rest then.

    It slows down evenly from the speed of its move, so the time that takes follows from the two.
    """
    return rest_ns / 1000 - 1e6 * abs(speed_deg_s) / deceleration_deg_s2
