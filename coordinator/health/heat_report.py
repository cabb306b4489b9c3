"""What is told of a joint's heat. What cannot be made is None, and `why_not` says why."""

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value with its 90 % interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class TimeLeft:
    """Until a temperature is reached at the present load, in s; None: not within six hours."""

    likely_s: float | None
    soonest_s: float | None
    """With a probability of 5 % it comes even before that."""
    latest_s: float | None


@dataclass(frozen=True, slots=True)
class HeatReport:
    """The first-order model of a joint and what follows from it, with the fan as it is now."""

    why_not: str
    """Why something is missing, a clause; empty if nothing is."""
    ambient_c: Estimate | None = None
    """Where it would settle without current in its motor: the air around, warmed by electronics."""
    rise_c: Estimate | None = None
    """What the present load adds to that in the end, in K."""
    run_rise_c: Estimate | None = None
    """What its load adds where it has its run current all the time, as while a program plays, in K.
    """
    steady_c: Estimate | None = None
    """Where it settles at the present load."""
    time_constant_s: Estimate | None = None
    ten_minutes_c: Estimate | None = None
    """In ten minutes, at the present load; the fan does what it was seen to do, or is usual."""
    warning: TimeLeft | None = None
    """Until its warning."""
    limit: TimeLeft | None = None
    """Until its limit, at which the arm stops."""
    rest_share: float | None = None
    """Of the time that it must rest, by turns of a few minutes at most, so that it settles below
    its limit even at the upper end of the interval; 0 where it does so anyway. None where that is
    not known, or rest with its motor held does not do.
    """
    run_rest_share: float | None = None
    """The same where it has its run current the rest of the time, as while programs play."""
    fan_on_c: float | None = None
    """Above which its fan was seen to come on."""
    fan_off_c: float | None = None
    """Below which its fan was seen to go off."""
    fan_factor: Estimate | None = None
    """How many times as fast heat goes with the fan; None where it was never seen to switch."""


NOT_YET: Final = HeatReport("its temperature must be watched for three minutes first")
SILENT: Final = HeatReport("for over a minute no temperature came that can be believed")
