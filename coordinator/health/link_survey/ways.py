"""How long each way of an exchange took, by the likeliest line of the joint's clock.

That one way is as long as the other at the least cannot be seen from two clocks: the line lies in
the middle between both, so what is told of one way alone may be wrong by half the shortest there
and back.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from coordinator.timing.estimate import Fit, fit
from coordinator.timing.exchange import Exchange
from coordinator.timing.guarantee import DRIFT_PPM
from protocol.constants import PPM


@dataclass(frozen=True, slots=True)
class Ways:
    """Both ways of each exchange, in the order of sending, in µs."""

    forward_us: tuple[float, ...]
    back_us: tuple[float, ...]
    shortest_us: int
    """There and back, without the time that the joint took to answer."""

    @property
    def forward_longer_us(self) -> float:
        """By how much the middle way to the joint is longer than that back; negative: shorter."""
        return median(self.forward_us) - median(self.back_us)


def clock_line(answers: Sequence[Exchange]) -> Fit | None:
    """The joint's clock at the last answer; None where no clock whose rate changes slowly gives
    such exchanges: it was stepped, say.
    """
    upper = sorted((one.t1_us, one.upper_us) for one in answers)
    lower = sorted((one.t4_us, one.lower_us) for one in answers)
    found = fit(upper, lower, DRIFT_PPM / PPM, lower[-1][0])
    return found if found.steady else None


def ways(answers: Sequence[Exchange], line: Fit) -> Ways:
    """How long both ways of each exchange took."""
    at = line.best.at
    return Ways(
        tuple(one.upper_us - at(one.t1_us) for one in answers),
        tuple(at(one.t4_us) - one.lower_us for one in answers),
        min(way_us(one) for one in answers),
    )


def way_us(exchange: Exchange) -> int:
    """There and back, without the time that the joint took to answer."""
    return exchange.round_trip_us - (exchange.t3_us - exchange.t2_us)
