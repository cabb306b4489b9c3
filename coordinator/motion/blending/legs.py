"""The lines of a stretch, and how much of the acceleration serves it best.

Less acceleration has a narrower window, so corners are passed faster where the tolerance is small;
all of it takes moves faster that are long, or from stop to stop. What is soonest depends on the
moves, so the first ones are tried.
"""

from collections.abc import Iterable, Iterator, Sequence
from itertools import chain, islice
from typing import Final

from coordinator.config.arm import Arm
from coordinator.motion.blending.course import course
from coordinator.motion.blending.lines import (
    JOINED,
    STOPS,
    Ease,
    Line,
    ease_for,
    joined,
    line_from,
    usual_share,
)
from coordinator.motion.blending.speeds import Passages
from coordinator.motion.points import plan_leg
from coordinator.motion.route import Leg, pace
from protocol.constants import US

TRIED: Final = 64
"""Legs at the beginning of a stretch."""
SHARES: Final = (1.0, 0.9, 0.8, STOPS)
"""Of the acceleration, that are tried beside the usual one. By trial with random programs: `make
bench`, table `blending`."""


def lines_of(legs: Iterable[Leg], arm: Arm, ease: Ease) -> Iterator[Line]:
    """The lines of the legs that go anywhere."""
    return joined(_each_line(legs, arm, ease), JOINED * ease.width_s)


def share_for(
    legs: Iterable[Leg], arm: Arm, tolerance_deg: float | None
) -> tuple[float, Iterable[Leg]]:
    """The share of the acceleration that takes the first of these legs through soonest, or STOPS,
    and all of them anew.
    """
    usual = usual_share(arm, tolerance_deg)
    if usual == 1.0:
        return usual, legs
    source = iter(legs)
    first = list(islice(source, TRIED))
    if sum(leg.goes for leg in first) < 2:
        return usual, chain(first, source)  # no corner, nothing to choose
    # Of shares that take as long the usual one.
    shares = (usual, *SHARES)
    best = min(shares, key=lambda share: _takes_s(first, arm, ease_for(arm, tolerance_deg, share)))
    return best, chain(first, source)


def _takes_s(legs: Sequence[Leg], arm: Arm, ease: Ease) -> float:
    """How long a stretch takes."""
    moves = [leg for leg in legs if leg.goes]
    found, rests = 0.0, True
    for passage in Passages(lines_of(moves, arm, ease), ease):
        stops = passage.corner is None
        if rests and stops and not passage.line.ends:
            found += plan_leg(moves[passage.line.leg], arm, 0).duration_us / US
        else:
            found += sum(piece.duration_s for piece in course((passage,)))
            # What the average adds, once from rest to rest.
            found += ease.width_s if stops else 0.0
        rests = stops
    return found


def _each_line(legs: Iterable[Leg], arm: Arm, ease: Ease) -> Iterator[Line]:
    number = 0
    for leg in legs:
        if leg.goes:
            speed = pace(leg, arm)
            nominal_s = speed.asked_s or speed.least_s
            yield line_from(number, leg.start.degrees, leg.end.degrees, nominal_s, ease)
            number += 1
