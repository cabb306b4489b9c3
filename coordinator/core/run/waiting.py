"""Waiting: behind the switch of an output, until an input is as the arm file wants it.

The run goes on by itself once it is, so nobody is told that it rests. Only a status that was asked
for since the wait began counts. Whatever is wrong with a joint meanwhile pauses the run at once: it
must not go on by itself once that is mended.
"""

from typing import Final

from coordinator.codes.outcome import Outcome
from coordinator.core.link.link import JointLink
from coordinator.core.obstacle import obstacle
from coordinator.core.readiness import require_on_path
from coordinator.core.run.context import Context
from coordinator.core.run.phase import RunPhase
from coordinator.core.run.phases import Phase
from coordinator.core.run.switched import require_outputs
from coordinator.core.run.turns import End, Ending, NextPart, Pause, Turn
from coordinator.motion.outputs import Awaited
from protocol.constants import US

NEWS_US: Final = 500_000
"""What a joint said longer ago says nothing of its input now: some drives at rest go by."""


class Waiting(RunPhase):
    """For an input, and no longer than the arm file says."""

    phase = Phase.WAITING
    holds_points = False

    def __init__(self, context: Context, now: int, awaited: Awaited) -> None:
        super().__init__(context, now)
        self._awaited = awaited
        self._link = context.links[awaited.joint]
        self._carrier = context.links[awaited.switch.joint]
        self._sent = {link.name: link.orders.sequence for link in (self._link, self._carrier)}
        """By joint: number of the last drive before the wait."""
        self._until_us = now + round(awaited.wait.within_s * US)

    @property
    def awaited(self) -> Awaited:
        return self._awaited

    def step(self, now: int) -> Turn | None:
        context = self.context
        for link in context.links:
            if wrong := obstacle(lambda link=link: require_on_path(link, now)):  # type: ignore[misc]
                return Pause(f"while it waited for {self._awaited.wait.wanted}: {wrong.message}")
        status = self._link.status
        if self._knows(self._carrier, now) and (
            wrong := obstacle(lambda: require_outputs(context, at_end=True))
        ):
            return Pause(f"while it waited for {self._awaited.wait.wanted}: {wrong.message}")
        known = self._knows(self._link, now) and self._knows(self._carrier, now)
        if known and status is not None and self._awaited.there(status.inputs):
            return next_part(context, now)
        return Pause(self._awaited.missing) if now > self._until_us else None

    def _knows(self, link: JointLink, now: int) -> bool:
        """Whether a joint has told what was asked of it since the wait began."""
        status = link.status
        asked = status is not None and status.sequence > self._sent[link.name]
        return asked and link.heard(now, NEWS_US)

    def next_deadline(self) -> int | None:
        return self._until_us + 1

    def hold(self, cause: str, now: int) -> Turn | None:
        return Pause(cause)


def next_part(context: Context, now: int) -> Turn:
    """On with the program, or its end: also where another loop would begin and its time is over."""
    part, following, for_s = context.part_now, context.following, context.play.loops.for_s
    if following is None:
        return End(Ending(Outcome.FINISHED))
    begins = following.loop != part.loop or part.edges
    if for_s is not None and begins and now - context.report.began_us >= for_s * US:
        return End(Ending(Outcome.FINISHED))
    return NextPart()
