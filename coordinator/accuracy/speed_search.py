"""The highest speed at which a joint loses no step, searched from below.

Each speed is tried by ways out and back, each followed by a look at the home edge, since steps that
are lost on one way may come back on the other. The first lost step ends it.
"""

from dataclasses import dataclass
from math import floor, log10
from typing import Final

from coordinator.accuracy.no_figure import NoFigure

MARGIN: Final = 0.2
"""By which share a limit stays below the highest speed without a lost step: a stepper's torque
falls with speed, and load, supply and warmth are others than in the search (common practice)."""
FACTOR: Final = 1.15
"""From one speed to the next."""
CRUISE_S: Final = 0.3
"""For which the speed is kept on a way."""


@dataclass(frozen=True, slots=True)
class Tried:
    """One speed."""

    speed_deg_s: float
    ways: int
    """How many were gone at it, with a look at the edge after each."""
    lost: str
    """Of the last of them, how it was noticed that steps were lost; empty where none were."""


@dataclass(frozen=True, slots=True)
class SpeedFound:
    """What a search found."""

    tried: tuple[Tried, ...]
    """From the slowest on."""

    @property
    def highest(self) -> float:
        """The highest speed at which no step was lost, in °/s."""
        return max(one.speed_deg_s for one in self.tried if not one.lost)

    @property
    def lost_at(self) -> float | None:
        """The speed at which the first was; None where none was."""
        return next((one.speed_deg_s for one in self.tried if one.lost), None)

    @property
    def ways(self) -> int:
        """All that were gone."""
        return sum(one.ways for one in self.tried)

    @property
    def limit(self) -> float | None:
        """What the joint's limit should be at most; None where no step was lost, as then nothing
        was found against the one that it has.
        """
        if self.lost_at is None:
            return None
        wanted = (1.0 - MARGIN) * self.highest
        scale = 10.0 ** (2 - floor(log10(wanted)))
        return floor(wanted * scale + 1e-9) / scale


def speed_found(tried: tuple[Tried, ...]) -> SpeedFound:
    """What was found at these speeds. Raises NoFigure where steps were lost at the first."""
    if all(one.lost for one in tried):
        slowest = f" at {tried[0].speed_deg_s:g}°/s, the slowest that was tried" if tried else ""
        raise NoFigure(
            f"steps were lost{slowest}: no usable speed is known. Look at its load, its supply, "
            "its currents and its gear first"
        )
    return SpeedFound(tried)


def speeds(first: float, most: float) -> list[float]:
    """Those to be tried, °/s, rising; the last is `most`. Raises ValueError where that is below."""
    if not 0.0 < first <= most:
        raise ValueError(f"from {first:g} to {most:g}°/s there is no speed to be tried")
    found = [first]
    while found[-1] * FACTOR < most:
        found.append(found[-1] * FACTOR)
    return [*found, most] if found[-1] < most else found


def way_deg(speed: float, acceleration: float) -> float:
    """How long a way must be, in degrees, so that a speed in °/s is kept for CRUISE_S, where it is
    come to and left by an even acceleration in °/s².
    """
    return speed * speed / acceleration + speed * CRUISE_S
