"""Which gear a joint has, by how far it was told to turn and how far it did."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import degrees, floor, fsum, log, log10, sqrt
from typing import Final

from coordinator.accuracy.coverage import COVERAGE, coverage
from coordinator.accuracy.no_figure import NoFigure

LEAST_READINGS: Final = 6
"""Of a line: four degrees of freedom, so that its scatter is uncertain by a third of itself (GUM,
JCGM 100:2008, E.4.3, from memory)."""
LEAST_PLACES: Final = 3
"""Between two of them any line is right."""
LEAST_TURN_DEG: Final = 20.0
"""With a protractor read to 0.5°, 20° tell a ratio to 3 %."""
LEAST_TURNS: Final = 3
"""Whole turns by the home edge, of which the scatter is told."""
RATIO_TOLERANCE: Final = 0.05
"""How far a measured turn may be from the commanded one: gears differ by more than that (common
practice), and reading a protractor by less."""
_LIKELIER: Final = (
    (degrees(1.0), "radians for degrees, or the other way"),
    (60.0, "arcmin for degrees, or the other way"),
    (3600.0, "arcsec for degrees, or the other way"),
    (360.0, "turns for degrees, or the other way"),
)
"""Factors by which one unit is taken for another; a gear that is so wrong is not likelier."""


@dataclass(frozen=True, slots=True)
class Gear:
    """By which share of what it is told a joint turns."""

    count: int
    """Readings, or whole turns."""
    share: float
    """How far it turns for each degree that it is told; negative where it turns the other way."""
    uncertainty: float
    """Standard uncertainty of `share`."""
    deviation: float
    """Of a reading, or of a pass of the home edge, from what the share makes of it, in degrees."""
    freedom: int
    """Degrees of freedom of both."""
    offset: float = 0.0
    """What was read at 0°, in degrees."""

    @property
    def is_right_way(self) -> bool:
        """Whether it turns the way that it is told."""
        return self.share > 0.0

    @property
    def agrees(self) -> bool:
        """Whether it turns as far as it is told, as far as that was measured."""
        return abs(abs(self.share) - 1.0) <= coverage(self.freedom) * self.uncertainty

    def ratio(self, told: float) -> tuple[float, float]:
        """The gear ratio and its standard uncertainty, where the arm file says `told`: so many
        turns of the motor as that makes of a degree turned the joint by `share` degrees.
        """
        ratio = told / abs(self.share)
        return ratio, ratio * self.uncertainty / abs(self.share)


def fitted(commanded: Sequence[float], read: Sequence[float], resolution: float) -> Gear:
    """The line through readings by least squares, all in degrees; `resolution` is what the last
    digit that was read tells apart. Raises NoFigure.
    """
    count = len(commanded)
    if count < LEAST_READINGS:
        raise NoFigure(f"{count} readings where {LEAST_READINGS} are needed")
    if len(set(commanded)) < LEAST_PLACES:
        raise NoFigure(
            f"it was sent to {len(set(commanded))} different angles, and it takes {LEAST_PLACES} "
            "to see whether what was read follows a line"
        )
    span = max(commanded) - min(commanded)
    if span < LEAST_TURN_DEG:
        raise NoFigure(
            f"the commanded angles are {span:g}° apart, and it takes {LEAST_TURN_DEG:g}° to tell a "
            "gear"
        )
    x_mean, y_mean = fsum(commanded) / count, fsum(read) / count
    spread = fsum((x - x_mean) ** 2 for x in commanded)
    both = zip(commanded, read, strict=True)
    share = fsum((x - x_mean) * (y - y_mean) for x, y in both) / spread
    offset = y_mean - share * x_mean
    rests = (y - offset - share * x for x, y in zip(commanded, read, strict=True))
    deviation = sqrt(fsum(rest**2 for rest in rests) / (count - 2))
    # A reading is uncertain by 0.29 of its resolution at least (GUM, F.2.2.1).
    uncertainty = max(deviation, resolution / sqrt(12.0)) / sqrt(spread)
    found = Gear(count, share, uncertainty, deviation, count - 2, offset)
    _require_a_line(found, span)
    return found


def _require_a_line(found: Gear, span: float) -> None:
    """Raise NoFigure where what was read does not say how far the joint turns."""
    if COVERAGE * found.uncertainty > RATIO_TOLERANCE * abs(found.share):
        raise NoFigure(
            f"what was read does not follow what was commanded: over {span:g}° it changed by "
            f"{found.share * span:.3g}°, and it lies {found.deviation:.3g}° (s) from a line. Is "
            "there a slip, or a scale that begins again within it, as 359 and then 1? Did the "
            "joint turn at all?"
        )
    factor, words = min(_LIKELIER, key=lambda one: abs(abs(log(abs(found.share))) - log(one[0])))
    off = abs(abs(log(abs(found.share))) - log(factor))
    if off <= RATIO_TOLERANCE:
        raise NoFigure(
            f"it was read to turn by {found.share:.4g}° for each degree: that is {words}. Is the "
            "unit of the head right?"
        )


def by_turns(believed: Sequence[float], least: float) -> Gear:
    """By whole turns to and fro between passes of the home edge: by how many degrees the joint
    believed to turn in each; `least` is the standard uncertainty that a turn has in any case, in
    degrees. Raises NoFigure for too few.

    Each turn ends at the pass at which the next one begins, so a pass that is off is in both, and
    their scatter about their mean says too little. So what is fitted is two places between which
    the joint goes to and fro, to passes that are each off by chance.
    """
    count = len(believed)
    if count < LEAST_TURNS:
        raise NoFigure(f"{count} turns where {LEAST_TURNS} are needed")
    passes = [0.0]
    for k, one in enumerate(believed):
        passes.append(passes[-1] + (one if k % 2 == 0 else -one))
    here, there = passes[::2], passes[1::2]
    middles = [fsum(place) / len(place) for place in (here, there)]
    turn = middles[1] - middles[0]
    rests = (one - at for place, at in zip((here, there), middles, strict=True) for one in place)
    deviation = sqrt(fsum(rest**2 for rest in rests) / (count - 1))
    uncertainty = max(deviation * sqrt(1.0 / len(here) + 1.0 / len(there)), least)
    return Gear(count, 360.0 / turn, 360.0 / turn * uncertainty / turn, deviation, count - 1)


def as_written(ratio: float, uncertainty: float) -> float:
    """A ratio to two digits of its uncertainty, as it stands in a file."""
    if uncertainty <= 0.0:
        return ratio
    return round(ratio, max(0, 1 - floor(log10(uncertainty))))


def whole_within(ratio: float, uncertainty: float) -> int | None:
    """The whole number with which a ratio agrees; None where there is none, or more than one."""
    wide = COVERAGE * uncertainty
    near = round(ratio)
    return near if near > 0 and abs(ratio - near) <= wide < 0.5 else None
