"""A slip ring's contact, and the divider by which a joint measures what comes through it."""

from random import Random
from typing import Final

SECTORS: Final = 48
"""Round the ring, each with a contact of its own."""
DEVIATIONS: Final = 2.5
"""From the mean no contact is further off, in standard deviations: none falls to nothing."""


class SlipRing:
    """Resistance of a hop, there and back, in Ω: round the ring it scatters, by turning it wears.

    `scatter` is the standard deviation over the ring and `wear_per_turn` the growth by each turn,
    both as shares of `ohm`. The ring's contacts are drawn from `random`.
    """

    def __init__(self, ohm: float, wear_per_turn: float, scatter: float, random: Random) -> None:
        self._ohm = ohm
        self._wear_per_turn = wear_per_turn
        self._contacts = [_drawn(random, scatter) for _ in range(SECTORS)] if scatter else []
        self._at: float | None = None
        self.travelled = 0.0
        """Turns, whichever way."""

    def turn(self, turns: float) -> None:
        """It stands at so many turns now; where it turned round since the last time is not seen."""
        if self._at is not None:
            self.travelled += abs(turns - self._at)
        self._at = turns

    @property
    def ohm(self) -> float:
        """Where it stands."""
        mean = self._ohm * (1.0 + self._wear_per_turn * self.travelled)
        if not self._contacts or self._at is None:
            return mean
        place = self._at % 1.0 * SECTORS
        sector = int(place) % SECTORS
        share = place - int(place)
        here, beyond = self._contacts[sector], self._contacts[(sector + 1) % SECTORS]
        return mean * (here + share * (beyond - here))


class SupplyMeter:
    """A divider whose resistors are off by a lasting share, and a converter with noise."""

    def __init__(self, gain_error: float, noise_v: float, random: Random) -> None:
        self._gain = 1.0 + gain_error
        self._noise_v = noise_v
        self._random = random if noise_v else None

    def reading_mv(self, volts: float) -> int:
        """What the firmware reads; never below nothing."""
        if self._random is not None:
            volts += self._random.gauss(0.0, self._noise_v)
        return max(0, round(volts * self._gain * 1_000))


def _drawn(random: Random, scatter: float) -> float:
    return 1.0 + scatter * min(max(random.gauss(0.0, 1.0), -DEVIATIONS), DEVIATIONS)
