"""A home sensor that is richer than what is fitted to it: the truth that the fits do not share.

Its window narrows as its magnet warms, so do the points at which it switches on and off part, each
passage has noise of its own, what is passed fast is noticed late, and home goes with temperature
along a curve. Figures are of the order of data sheets (from memory), not of a part.
"""

import random
from collections.abc import Sequence
from dataclasses import dataclass

from coordinator.health.home_state import FoundHome, Passage

MAGNET_PER_C = -0.001
"""Of a neodymium magnet's field, and so of the window's width (order of magnitude)."""
HALF_WIDTH_DEG = 1.0
NOISE_DEG = 0.003
HYSTERESIS_DEG = 0.05
HYSTERESIS_PER_C = 0.002
DRIFT_DEG_PER_C = 0.0006
CURVE_DEG_PER_C2 = 6e-6
LATE_S = 100e-6
FAST_DEG_S = 20.0
WARM_C = 20.0
"""At which the figures hold."""


@dataclass
class Sensor:
    """One joint's; searched upwards."""

    rng: random.Random
    moved_deg: float = 0.0
    """By how much somebody knocked it aside."""

    def home_deg(self, celsius: float) -> float:
        """Where homing finds home but for noise: its middle, and half of its hysteresis, as it is
        passed slowly one way only.
        """
        return self._middle_deg(celsius) + self.hysteresis_deg(celsius) / 2.0

    def _middle_deg(self, celsius: float) -> float:
        warm = celsius - WARM_C
        return self.moved_deg + DRIFT_DEG_PER_C * warm + CURVE_DEG_PER_C2 * warm * warm

    def hysteresis_deg(self, celsius: float) -> float:
        """How much further out it switches off than on."""
        return HYSTERESIS_DEG * (1.0 + HYSTERESIS_PER_C * (celsius - WARM_C))

    def homing(
        self, number: int, celsius: float, before_deg: float | None
    ) -> tuple[FoundHome, float]:
        """One homing as it is kept, and where it truly put home: its middle."""
        centre, apart = self._middle_deg(celsius), self.hysteresis_deg(celsius)
        half = HALF_WIDTH_DEG * (1.0 + MAGNET_PER_C * (celsius - WARM_C))

        def at(place_deg: float, *, late: float = 0.0) -> float:
            return centre + place_deg + self.rng.gauss(0.0, NOISE_DEG) + late

        late = self.rng.uniform(0.0, LATE_S) * FAST_DEG_S
        edges = (
            (True, True, at(-half, late=late)),
            (False, True, at(-half - apart, late=-late)),
            (True, False, at(-half)),
            (False, False, at(half + apart)),
            (True, True, at(half, late=-late)),
        )
        middle = (edges[2][2] + edges[3][2]) / 2.0
        found = FoundHome(
            homing=number,
            utc=None,
            passages=tuple(Passage(up, fast, place - middle) for up, fast, place in edges),
            shift_deg=None if before_deg is None else middle - before_deg,
            temperature_c=round(celsius, 2),
            controller="0a1b2c3d4e5f",
            figures="100 counts/°",
            follows=True,
        )
        return found, middle

    def homings(self, temperatures: Sequence[float]) -> list[FoundHome]:
        """In a row, at these temperatures."""
        found, before = [], None
        for number, celsius in enumerate(temperatures, 1):
            one, before = self.homing(number, celsius, before)
            found.append(one)
        return found
