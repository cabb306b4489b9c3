"""Discarding: every joint forgets the trajectory, before whatever follows."""

from coordinator.codes.outcome import Outcome
from coordinator.core.link.link import JointLink
from coordinator.core.run.context import Context
from coordinator.core.run.phase import RunPhase
from coordinator.core.run.phases import Phase
from coordinator.core.run.replies import ANSWER_PATIENCE_US, Replies
from coordinator.core.run.turns import AfterDiscard, End, Ending, PartOver, Pause, Turn, Wait
from coordinator.motion.outputs import Awaited
from protocol.messages import Discard


class Discarding(RunPhase):
    """Until every joint that can hear has answered *discard*."""

    phase = Phase.DISCARDING
    holds_points = False

    def __init__(self, context: Context, now: int, then: AfterDiscard) -> None:
        super().__init__(context, now)
        self._then = then
        self._replies = Replies(Discard(), context.links, context.outbox, now)
        for link in context.links:
            if not link.up and not link.heard(now):
                # It is not waited for: the next command discards before anything else.
                self._replies.excuse(link)

    def step(self, now: int) -> Turn | None:
        if self._replies.silent and now - self.since_us <= ANSWER_PATIENCE_US:
            return None
        if isinstance(self._then, Ending):
            return End(self._then)
        return after_part(self.context, self._then.holds)

    @property
    def awaited(self) -> Awaited | None:
        waits = isinstance(self._then, PartOver) and not self._then.holds
        return self.context.part_now.awaits if waits else None

    @property
    def goes_on(self) -> bool:
        """Whether more of the program is to come."""
        return isinstance(self._then, PartOver) and self.context.part_now.end_line is not None

    def hold(self, cause: str, now: int) -> Turn | None:
        if self.awaited is None:
            return super().hold(cause, now)
        self._then = PartOver(cause)
        return None

    def next_deadline(self) -> int | None:
        return self.since_us + ANSWER_PATIENCE_US + 1

    def end_at_rest(self, ending: Ending, cause: str, now: int) -> Turn | None:
        if self.goes_on:
            self._then = ending
        return None

    def rebooted(self, link: JointLink) -> None:
        self._replies.excuse(link)

    def relinked(self, link: JointLink, now: int) -> None:
        self._replies.ask_again(link, now)


def after_part(context: Context, holds: str = "") -> Turn:
    """Nothing of the part is left: wait for an input, unless a hold came; pause; or end."""
    part = context.part_now
    if part.awaits is not None:
        return Pause(holds) if holds else Wait(part.awaits)
    return Pause() if part.pause_line is not None else End(Ending(Outcome.FINISHED))
