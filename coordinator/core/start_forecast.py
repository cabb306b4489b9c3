"""What a start would be if somebody pressed play now: whether all would begin together."""

from dataclasses import dataclass

from coordinator.codes.refusal import RefusalCode
from coordinator.core.link.link import slowest
from coordinator.core.machine import Coordinator
from coordinator.core.obstacle import Obstacle, obstacle
from coordinator.core.skew import skew_us, too_wide
from coordinator.timing.start_delay import start_delay_us


@dataclass(frozen=True, slots=True)
class StartForecast:
    """What a start would be if somebody pressed play now, as far as the joints go.

    The figures are None while links or clocks are being measured, and where there is an obstacle.
    """

    start_delay_us: int | None = None
    """How far ahead it would be set."""
    within_us: int | None = None
    """How far apart the joints could begin at most: the sum of the two widest clock uncertainties,
    as both joints could be wrong by as much, one early and one late."""
    slowest: str | None = None
    """The joint with the slowest link."""
    obstacle: Obstacle | None = None
    """Why play would be refused."""


def start_forecast(core: Coordinator, now: int) -> StartForecast:
    """How far ahead a start would be set and how far apart it could be, or why there is none."""
    if found := obstacle(lambda: core.require_playable(now)):
        return StartForecast(obstacle=found)
    within_us = skew_us(core.links, now)
    if within_us is None or not all(link.quality.measured for link in core.links):
        return StartForecast()
    if sentence := too_wide(core.links, core.skew_limit_us, now):
        return StartForecast(obstacle=Obstacle(RefusalCode.CLOCK_UNCERTAIN, sentence))
    last = slowest(core.links)
    return StartForecast(start_delay_us(last.quality.worst_delay_us), within_us, last.name)
