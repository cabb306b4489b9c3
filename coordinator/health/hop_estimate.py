"""Resistance of each hop, from volts at all joints and loads that differ in time.

A *stand* is a while in which no joint's load changed: the mean volts at every joint, and what each
is taken to draw. Over many stands the volts that a hop drops are a straight line over the current
through it: its slope is the resistance, and what lies off zero is the difference of two dividers
of 1 %, which would hide the drop of any one stand. The volts at the first joint give the first hop
with the source's own resistance, and the source's voltage.

The standard uncertainty has two parts (GUM, JCGM 100:2008 §4.2, §4.3 and annex G.4, from memory).
One is what the stands show: they scatter about the line, more so with more current, so it is
estimated without taking the scatter for even (HC3, MacKinnon and White, Journal of Econometrics
1985, from memory). The other they cannot show: what each joint truly draws, and its divider.
"""

import math
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from coordinator.health.load_flow import currents

KEPT_STANDS: Final = 128
"""The newest, so that memory is bounded and a hop that wears is followed."""
LEAST_STANDS: Final = 8
LEAST_SPREAD_A: Final = 0.1
"""From the least to the greatest current: 5 mV on a hop of 0.05 Ω, the noise of a reading."""
WATTS_UNCERTAINTY: Final = 0.1
"""Standard, as a share, of what a joint is taken to draw: windings, driver and converter differ."""
DIVIDER_UNCERTAINTY: Final = 0.01 / math.sqrt(3.0)
"""Standard, as a share: anywhere within the 1 % of two resistors (common practice)."""
WIDEST_OHM: Final = 0.03
WIDEST_SHARE: Final = 0.3
"""A standard uncertainty above both, the latter of the resistance, leaves no figure to go by."""
CONFIDENCE_Z: Final = 1.6448536269514722
"""Of the 90 % interval: the standard normal distribution's 95th percentile."""


@dataclass(frozen=True, slots=True)
class Hop:
    """The hop to one joint from the one before it; for the first with the source's resistance."""

    ohm: float | None
    """None where there is no figure: `reason` says why."""
    uncertainty_ohm: float | None
    """Standard."""
    half_width_ohm: float | None
    """The resistance lies within so much of `ohm`, with 90 % confidence."""
    stands: int
    reason: str
    """A clause; empty where there is a figure."""


@dataclass(frozen=True, slots=True)
class HopEstimate:
    """All hops of an arm, base to tool."""

    hops: tuple[Hop, ...]
    source_v: float | None
    """At no load, as the first joint would read it; None with no figure for its hop."""


class HopEstimator:
    """Takes stands, the newest last, and gives what they say."""

    def __init__(self, joints: int) -> None:
        self._joints = joints
        self._stands: deque[tuple[tuple[float, ...], tuple[float, ...]]] = deque(maxlen=KEPT_STANDS)
        self._found: HopEstimate | None = None

    def add(self, volts: Sequence[float], watts: Sequence[float]) -> None:
        """One more stand: mean volts and watts of each joint, base to tool.

        Raises ValueError unless there is one of each for every joint, and all volts are above 0.
        """
        if len(volts) != self._joints or len(watts) != self._joints:
            raise ValueError(
                f"A stand of {len(volts)} voltages and {len(watts)} loads is none of "
                f"{self._joints} joints."
            )
        if min(volts) <= 0.0:
            raise ValueError(f"No joint draws from {min(volts):g} V.")
        self._stands.append((tuple(volts), tuple(watts)))
        self._found = None

    def estimate(self) -> HopEstimate:
        """What the stands say so far."""
        if self._found is None:
            self._found = self._estimate()
        return self._found

    def _estimate(self) -> HopEstimate:
        drawn = [[p / v for p, v in zip(w, u, strict=True)] for u, w in self._stands]
        through = [currents(volts, watts) for volts, watts in self._stands]
        hops, source_v = [], None
        for k in range(self._joints):
            after = [volts[k] for volts, _ in self._stands]
            before = [volts[k - 1] for volts, _ in self._stands] if k else None
            hop, at_rest_v = _hop(
                [one[k] for one in through],
                before,
                after,
                [[one[j] for one in drawn] for j in range(k, self._joints)],
            )
            hops.append(hop)
            if k == 0 and hop.ohm is not None:
                source_v = at_rest_v
        return HopEstimate(tuple(hops), source_v)


def _hop(
    through: list[float],
    before: list[float] | None,
    after: list[float],
    drawn: list[list[float]],
) -> tuple[Hop, float]:
    """A hop, and the volts after it where nothing flows, for a source that is the same all along.

    By stand: the current through it, the volts before it (None: a source's, which are not known)
    and after it, and what each joint behind it draws.
    """
    count = len(through)
    if count < LEAST_STANDS:
        return _none(count, f"loads stood still {count} times so far, {LEAST_STANDS} are needed")
    spread_a = max(through) - min(through)
    if spread_a < LEAST_SPREAD_A:
        return _none(
            count,
            f"the current through it changed by {spread_a:.2f} A only, "
            f"{LEAST_SPREAD_A:g} A are needed",
        )
    mean_a = math.fsum(through) / count
    off = [current - mean_a for current in through]
    square = math.fsum(a * a for a in off)
    slope_after = _slope(off, after, square)
    slope_before = 0.0 if before is None else _slope(off, before, square)
    ohm = slope_before - slope_after
    dropped = [-v for v in after] if before is None else _less(before, after)
    mean_v = math.fsum(dropped) / count
    shown = 0.0
    for a, v in zip(off, dropped, strict=True):
        leverage = 1.0 / count + a * a / square
        # A stand that alone holds one end of the line would have no residual whatever it said.
        residual = (v - mean_v - ohm * a) / max(1.0 - leverage, 1e-3)
        shown += a * a * residual * residual
    shown /= square * square
    loads = math.fsum(_slope(off, joint, square) ** 2 for joint in drawn)
    unseen = (ohm * WATTS_UNCERTAINTY) ** 2 * loads
    unseen += DIVIDER_UNCERTAINTY**2 * (slope_before**2 + slope_after**2)
    uncertainty = math.sqrt(shown + unseen)
    if uncertainty > max(WIDEST_OHM, WIDEST_SHARE * abs(ohm)):
        return _none(
            count, f"the loads so far leave {max(ohm, 0.0):.2f} ± {uncertainty:.2f} Ω, too wide"
        )
    # Degrees of freedom of both parts together (Welch and Satterthwaite): the second has no end.
    freedom = (count - 2) * ((shown + unseen) / shown) ** 2 if shown > 0.0 else math.inf
    half_width = coverage_factor(freedom) * uncertainty
    if ohm < -half_width:
        return _none(
            count,
            f"it comes out as {ohm:.2f} ± {uncertainty:.2f} Ω: the joints stand in another order "
            "than the arm file says, or draw otherwise than they are taken to",
        )
    at_rest_v = math.fsum(after) / count - slope_after * mean_a
    return Hop(max(ohm, 0.0), uncertainty, half_width, count, ""), at_rest_v


def coverage_factor(freedom: float) -> float:
    """Of a 90 % interval with so many degrees of freedom: Student's t, 95th percentile.

    By the expansion of Fisher and Cornish (Abramowitz and Stegun 26.7.5, from memory).
    """
    z = CONFIDENCE_Z
    if math.isinf(freedom):
        return z
    return (
        z
        + (z**3 + z) / (4.0 * freedom)
        + (5.0 * z**5 + 16.0 * z**3 + 3.0 * z) / (96.0 * freedom**2)
        + (3.0 * z**7 + 19.0 * z**5 + 17.0 * z**3 - 15.0 * z) / (384.0 * freedom**3)
    )


def _none(count: int, reason: str) -> tuple[Hop, float]:
    return Hop(None, None, None, count, reason), 0.0


def _slope(off: list[float], values: list[float], square: float) -> float:
    """Of values over the current; `off` is the current less its mean, `square` its squares."""
    return math.fsum(a * value for a, value in zip(off, values, strict=True)) / square


def _less(before: list[float], after: list[float]) -> list[float]:
    return [b - a for b, a in zip(before, after, strict=True)]
