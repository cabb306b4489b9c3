"""A link whose delays are longer one way than the other: it deceives the estimate of a clock.

How long one way takes can only be told by a clock that is known otherwise, from times when the ways
were alike; where they never were, the bound of the clock is wide, which a start is refused for. A
queue in front of a busy link, such as that of an upload, makes one way longer by tens of ms.
"""

from collections import deque
from statistics import median
from typing import Final, NamedTuple

from coordinator.codes.alarm_origin import AlarmOrigin
from coordinator.codes.priority import Priority
from coordinator.health.alarm_kind import Finding, Kind

SHARE: Final = 0.5
"""Of the round trip, by which one way may be longer. Both ways of the simulated links are within
0.3 of it."""
LEAST_US: Final = 10_000
"""A smaller difference misleads nobody: it is half of what two joints may be apart."""
CLEAR: Final = 0.8
SAMPLES: Final = 20
"""Looks, one a second: a queue that lasts for moments only is not told of."""

LOPSIDED: Final[Kind] = Kind(
    "link-lopsided",
    Priority.LOW,
    AlarmOrigin.CONNECTION,
    cause="a queue one way, as an upload or a download makes it",
    consequence="a moving arm may hold to set this joint's clock right, and starts are refused "
    "where the clocks are not known well enough",
    advice="end uploads and downloads on the joints' network, which make a queue one way, or take "
    "other traffic off it",
    over="has a link again that takes about as long both ways",
    dead_band=f"{CLEAR:.0%} of the limit, by the median of {SAMPLES} looks",
)


class Ways(NamedTuple):
    """How long the two ways of one exchange took, as far as the clock's estimate tells, in µs."""

    forward_us: float
    back_us: float


class Lopsidedness:
    """The last ways of one joint's link."""

    def __init__(self) -> None:
        self._ways: deque[Ways] = deque(maxlen=SAMPLES)

    def observe(self, name: str, ways: Ways | None) -> Finding:
        """One look; None while the clock is not known."""
        if ways is None:
            self._ways.clear()
            return Finding(LOPSIDED, None)
        self._ways.append(ways)
        if len(self._ways) < SAMPLES:
            return Finding(LOPSIDED, None)
        longer_us = median(one.forward_us - one.back_us for one in self._ways)
        round_trip_us = median(one.forward_us + one.back_us for one in self._ways)
        limit_us = max(SHARE * round_trip_us, LEAST_US)
        if abs(longer_us) <= limit_us:
            return Finding(LOPSIDED, None if abs(longer_us) > CLEAR * limit_us else False)
        way = "to the joint than back" if longer_us > 0 else "back than to the joint"
        return Finding(
            LOPSIDED,
            True,
            f"{name}: messages took {abs(longer_us) / 1e3:.0f} ms longer {way} when this began, of "
            f"{round_trip_us / 1e3:.0f} ms there and back; joints still start together within "
            "what is proved, or are refused a start, but a moving arm may hold to set this joint's "
            "clock right",
        )
