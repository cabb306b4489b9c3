"""What a survey says of a joint's clock: its rate, and how steady that is."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from coordinator.health.link_survey.allan import allan_deviation, hidden_deviation
from coordinator.health.link_survey.ways import way_us
from coordinator.timing.estimate import Fit
from coordinator.timing.exchange import Exchange
from protocol.constants import PPM, US

OVER_S: Final = (1, 10)
"""Seconds over which the stability is told."""
SEEN: Final = 2.0
"""So many times what delays may feign must be measured, to be told as the clock's."""
READ_US: Final = 2
"""T1 to T4 are whole µs, rounded outwards: the middle of them is off by no more."""


@dataclass(frozen=True, slots=True)
class Stability:
    """Allan deviation (IEEE Std 1139, overlapping) of the joint's clock against the laptop's."""

    over_s: int
    """The time over which rates are compared."""
    ppm: float | None
    """The deviation; None where it is not to be seen over this link's delays."""
    hidden_ppm: float | None
    """By how much delays may have changed it. Where `ppm` is None: what a clock's deviation is
    below, for more would be seen; and None itself where the survey was too short for this time."""


@dataclass(frozen=True, slots=True)
class ClockFigures:
    """A joint's clock against the laptop's."""

    rate_ppm: float
    """How much faster it runs, at the end of the survey."""
    rate_error_ppm: float
    """So far off can that be for a clock whose rate changes by no more than 3 ppm a minute."""
    stability: tuple[Stability, ...]


def clock_figures(answers: Sequence[Exchange], line: Fit) -> ClockFigures:
    """What exchanges say of a clock that keeps to a line."""
    rate = line.best.rate
    error = max(line.fastest.rate - rate, rate - line.slowest.rate)
    offsets, errors = _once_a_second(answers, rate)
    return ClockFigures(
        rate * PPM, error * PPM, tuple(_stability(offsets, errors, over_s) for over_s in OVER_S)
    )


def _once_a_second(
    answers: Sequence[Exchange], rate: float
) -> tuple[list[float | None], list[float | None]]:
    """The offset in each second by its quickest exchange, and how far off that can be, in µs.

    The rate is taken out, of which the deviation knows nothing: exchanges are not evenly spaced.
    An offset is wrong by half of what its exchange took longer than the quickest of all, at most;
    what that one's ways differ by is in all of them, and the deviation knows nothing of it either.
    """
    begin_us = answers[0].t1_us
    best: dict[int, Exchange] = {}
    for one in answers:
        second = (one.t1_us - begin_us) // US
        if second not in best or way_us(one) < way_us(best[second]):
            best[second] = one
    least_us = min(way_us(one) for one in best.values())
    offsets: list[float | None] = [None] * (max(best) + 1)
    errors: list[float | None] = [None] * (max(best) + 1)
    for second, one in best.items():
        middle_us = (one.t1_us + one.t4_us) / 2
        offsets[second] = (one.upper_us + one.lower_us) / 2 - rate * (middle_us - begin_us)
        errors[second] = (way_us(one) - least_us) / 2 + READ_US
    return offsets, errors


def _stability(
    offsets: Sequence[float | None], errors: Sequence[float | None], over_s: int
) -> Stability:
    measured = allan_deviation(offsets, over_s, US)
    hidden = hidden_deviation(errors, over_s, US)
    if measured is None or hidden is None:
        return Stability(over_s, None, None)
    if measured < SEEN * hidden:
        return Stability(over_s, None, (measured + hidden) * PPM)
    return Stability(over_s, measured * PPM, hidden * PPM)
