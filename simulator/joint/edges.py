"""The home sensor after homing: each time it switches, is that where it switched while homing?

A sensor switches a little later than it should, to the side that it is approached from. So an edge
is compared with the one of the same kind met in the same direction of travel. One homing passes
both edges in both directions, and of each the last passage is kept.
"""

import math
from collections.abc import Mapping
from typing import NamedTuple

from protocol.configuration import Configuration
from protocol.constants import EDGE_TIMING_US, US
from simulator.joint.passages import STILL


class Passage(NamedTuple):
    """One kind of passage: which way the level changes, and the direction of travel."""

    rising: bool
    upwards: bool


def passage(rising: bool, velocity: float) -> Passage | None:
    """What a change of level at a velocity (counts/s) passes; None where the joint stands still."""
    return Passage(rising, velocity > 0.0) if abs(velocity) >= STILL else None


class HomeEdges:
    """The edges of the last homing. Empty before the first."""

    def __init__(self) -> None:
        self._found: dict[Passage, float] = {}

    def learn(self, found: Mapping[Passage, float], shift: int) -> None:
        """Keep what a homing met, in counts of the frame before it, which it moved by `shift`."""
        self._found = {kind: position + shift for kind, position in found.items()}

    def astray(
        self,
        rising: bool,
        position: float,
        velocity: float,
        limits: Configuration,
        turned_round: bool = False,
    ) -> str | None:
        """A sentence when the sensor has switched where it should not; None while all is well.

        Position in counts, velocity in counts/s. The sensor comes again every turn of the output.
        Still, a joint may be on either edge: the nearest counts. So it does where a joint has
        `turned_round` on an edge, as a sensor that bounces there changes its level either way.
        """
        kind = None if turned_round else passage(rising, velocity)
        known = [self._found[kind]] if kind in self._found else list(self._found.values())
        turn = limits.counts_per_turn
        away = min((math.remainder(position - one, turn) for one in known), key=abs, default=0.0)
        allowed = tolerance(velocity, limits)
        if abs(away) <= allowed:
            return None
        return (
            f"the home sensor switched {'on' if rising else 'off'} at {position:.0f} counts, "
            f"{abs(away):.0f} counts or {abs(away) * 360 / turn:.2f}° from where it did in the "
            f"last homing; {allowed:.0f} are allowed"
        )


def tolerance(velocity: float, limits: Configuration) -> float:
    """Counts by which two passages of one edge may differ though no step is lost.

    One full step, since a two-phase stepper that slips does so by four at least; and for each of
    the two passages what its timing may misplace at its speed (counts/s). Homing's is at most
    its fast one.
    """
    return limits.full_step + EDGE_TIMING_US / US * (abs(velocity) + limits.homing.fast)
