"""Preparing: every joint checks that it can play from where it stands."""

from coordinator.codes.outcome import Outcome
from coordinator.core.link.link import JointLink
from coordinator.core.run.context import Context
from coordinator.core.run.phase import BeforeMotion
from coordinator.core.run.phases import Phase
from coordinator.core.run.replies import ANSWER_PATIENCE_US, Replies
from coordinator.core.run.turns import Ending, GiveUp, HoldFor, StartAt, Turn
from protocol.messages import Prepare


class Preparing(BeforeMotion):
    """Until every joint has answered *prepare*."""

    phase = Phase.PREPARING

    def __init__(self, context: Context, now: int, *, holds: str) -> None:
        super().__init__(context, now, holds=holds)
        request = Prepare(trajectory=context.trajectory)
        self._replies = Replies(request, context.links, context.outbox, now)

    def step(self, now: int) -> Turn | None:
        refusal, silent = self._replies.refusal, self._replies.silent
        if refusal is not None:
            name, reject = refusal
            return GiveUp(Ending(Outcome.REFUSED, f"{name} cannot play: {reject.message}"))
        if silent and now - self.since_us <= ANSWER_PATIENCE_US:
            return None
        if silent:
            message = f"{silent[0]} does not answer *prepare*"
            return GiveUp(Ending(Outcome.REFUSED, message))
        return HoldFor(self.holds) if self.holds else StartAt(0, advancing=False)

    def next_deadline(self) -> int | None:
        return self.since_us + ANSWER_PATIENCE_US + 1

    def relinked(self, link: JointLink, now: int) -> None:
        self._replies.ask_again(link, now)
