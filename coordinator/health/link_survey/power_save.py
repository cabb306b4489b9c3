"""Whether a joint's radio sleeps between beacons (IEEE 802.11 power save).

What is sent to a station that sleeps waits at the access point for the next beacon at which the
station listens: each 100 time units of 1.024 ms, or a small multiple of that. So delays towards it
pile up evenly between 0 and that interval, while what it sends itself goes at once.

The test: let D be the greatest distance between the distribution of the delays to the joint, less
the shortest, and an even one up to an interval (Kolmogorov–Smirnov). That the distance is more than
`NEAR` is rejected where D + m is below it, with the m that the true distance exceeds D by in one of
a hundred surveys at most (Dvoretzky, Kiefer, Wolfowitz; constant by Massart 1990), the intervals
that are tried sharing that. The delays back must be short beside the interval. A station that is
awake for longer than the 40 ms between two exchanges never sleeps in a survey, and is not found.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import log, sqrt
from typing import Final

from coordinator.health.link_survey.ways import Ways

BEACON_US: Final = 102_400
"""Usual from beacon to beacon: 100 TU of 1024 µs (IEEE Std 802.11)."""
MULTIPLES: Final = (1, 2, 3)
"""Of it, at which stations listen: DTIM periods that access points have (assumed)."""
LEVEL: Final = 0.01
"""How often a link that is farther from even than `NEAR` is taken for one that sleeps, at most."""
NEAR: Final = 0.25
"""Of the exchanges: as many may find the station awake."""
LEAST_EXCHANGES: Final = 300
"""Answered ones: the margin is a tenth then."""
SHORT_SHARE: Final = 0.25
"""Of the interval, below which nine of ten ways back stay."""


@dataclass(frozen=True, slots=True)
class PowerSave:
    """How near the delays to a joint are to those of a radio that sleeps."""

    found: bool
    interval_us: int
    """Between the beacons that fit best."""
    distance: float
    """The greatest between the distribution of the delays and an even one, 0 to 1."""
    margin: float
    """What the true distance may be above that."""


def power_save(found: Ways) -> PowerSave | None:
    """What both ways say; None where too few exchanges were answered to tell."""
    count = len(found.forward_us)
    if count < LEAST_EXCHANGES:
        return None
    margin = sqrt(log(2 * len(MULTIPLES) / LEVEL) / (2 * count))
    distance, interval_us = min(
        (_distance_from_even(found.forward_us, k * BEACON_US), k * BEACON_US) for k in MULTIPLES
    )
    late_us = sorted(found.back_us)[9 * count // 10] - min(found.back_us)
    sleeps = distance + margin < NEAR and late_us < SHORT_SHARE * interval_us
    return PowerSave(sleeps, interval_us, distance, margin)


def _distance_from_even(delays_us: Sequence[float], interval_us: int) -> float:
    """Of their distribution from that of delays spread evenly up to an interval."""
    ordered = sorted(delays_us)
    count, least_us, distance = len(ordered), ordered[0], 0.0
    for k, delay_us in enumerate(ordered):
        even = min((delay_us - least_us) / interval_us, 1.0)
        distance = max(distance, even - k / count, (k + 1) / count - even)
    return distance
