"""Loading: the first window of points into every joint."""

from typing import Final

from coordinator.codes.outcome import Outcome
from coordinator.core.link.link import JointLink
from coordinator.core.outbox import ignore_reply
from coordinator.core.run.loaded import not_loaded, too_short
from coordinator.core.run.phase import BeforeMotion
from coordinator.core.run.phases import Phase
from coordinator.core.run.turns import Ending, GiveUp, Loaded, Turn
from protocol.constants import PPM
from protocol.messages import Discard

LOAD_PATIENCE_US: Final = 15_000_000
"""Covers the first 50 exchanges at 25 Hz and a full buffer over a poor link."""


class Loading(BeforeMotion):
    """Until every joint is ready for *prepare*."""

    phase = Phase.LOADING

    def step(self, now: int) -> Turn | None:
        context = self.context
        waiting = [
            (link, why) for link in context.links if (why := not_loaded(link, context.point_feed))
        ]
        is_late = now - self.since_us > LOAD_PATIENCE_US
        if waiting:
            if is_late:
                link, why = waiting[0]
                return _refused(f"{link.name} could not be made ready: {why}")
            return None
        fall_us = round(context.ramp.fall_path(context.rate_ppm / PPM))
        short = too_short(context.links, context.point_feed, fall_us)
        if short is None:
            return Loaded(self.holds)
        is_told = all(context.point_feed.is_told(link) for link in context.links)
        return _refused(short) if is_told or is_late else None

    def next_deadline(self) -> int | None:
        return self.since_us + LOAD_PATIENCE_US + 1

    def relinked(self, link: JointLink, now: int) -> None:
        known = link.welcome.trajectory if link.welcome is not None else 0
        if known not in (0, self.context.trajectory):
            self.context.outbox.request(link, Discard(), ignore_reply, now)


def _refused(message: str) -> GiveUp:
    return GiveUp(Ending(Outcome.REFUSED, message))
