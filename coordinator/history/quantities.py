"""What is kept of a joint: gauges, which have a value now, and counts, which only grow."""

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Gauge:
    """A value that a joint has now. It is kept as a whole number, so that sums are exact."""

    name: str
    """With its unit."""
    per_unit: int
    """What is kept of one unit."""


GAUGES: Final = (
    Gauge("temperature_c", 100),
    Gauge("supply_v", 1_000),
    Gauge("rtt_p99_us", 1),
    Gauge("loss", 1_000_000),
    Gauge("clock_uncertainty_us", 1),
    Gauge("hop_ohm", 1_000_000),
    Gauge("position_error_deg", 1_000_000),
)
"""In the order of readings and of what is kept of them."""

Reading = tuple[int | None, ...]
"""A value for each gauge, as it is kept; None where it is not known."""


def reading(*values: float | None) -> Reading:
    """The values of all gauges, each in its own unit, as they are kept."""
    return tuple(
        None if value is None else round(value * gauge.per_unit)
        for gauge, value in zip(GAUGES, values, strict=True)
    )


@dataclass(frozen=True, slots=True)
class Counts:
    """What a joint did in a stretch of time."""

    on_us: int = 0
    """How long it was heard."""
    moving_us: int = 0
    """How long it turned."""
    starts: int = 0
    """How often it began to turn."""
    reversals: int = 0
    """How often it turned the other way than before."""
    distance_udeg: int = 0
    """How far it turned, both ways, in millionths of a degree."""

    def __add__(self, other: "Counts") -> "Counts":
        return Counts(
            self.on_us + other.on_us,
            self.moving_us + other.moving_us,
            self.starts + other.starts,
            self.reversals + other.reversals,
            self.distance_udeg + other.distance_udeg,
        )


NOTHING: Final = Counts()
COUNTS: Final = ("on_us", "moving_us", "starts", "reversals", "distance_udeg")
"""Their names, in their order."""
