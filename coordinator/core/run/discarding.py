"""Discarding: every joint forgets the trajectory, before whatever follows."""

from coordinator.core.link.link import JointLink
from coordinator.core.obstacle import obstacle
from coordinator.core.readiness import require_on_path
from coordinator.core.run.context import Context
from coordinator.core.run.phase import RunPhase
from coordinator.core.run.phases import Phase
from coordinator.core.run.replies import ANSWER_PATIENCE_US, Replies
from coordinator.core.run.turns import AfterDiscard, End, Ending, PartOver, Pause, Turn, Wait
from coordinator.core.run.waiting import next_part
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
        return after_part(self.context, now, self._then.holds)

    @property
    def awaited(self) -> Awaited | None:
        return self.context.part_now.awaits if self._goes_on else None

    @property
    def coming(self) -> str:
        if self.awaited is not None:
            return self.awaited.waits
        if not self._goes_on or self.context.part_now.pause_line is not None:
            return ""
        following = self.context.following
        return "" if following is None else f"goes on with loop {following.loop}"

    @property
    def _goes_on(self) -> bool:
        return isinstance(self._then, PartOver) and not self._then.holds

    @property
    def goes_on(self) -> bool:
        """Whether more of the program is to come."""
        if not isinstance(self._then, PartOver):
            return False
        return self.context.part_now.end_line is not None or self.context.following is not None

    @property
    def finishes(self) -> bool:
        """Whether the run has been played to its end, and nothing came between."""
        return isinstance(self._then, PartOver) and not self._then.holds and not self.goes_on

    def hold(self, cause: str, now: int) -> Turn | None:
        if not self.coming:
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


def after_part(context: Context, now: int, holds: str = "") -> Turn:
    """Nothing of the part is left: wait for an input or begin the next loop, unless a hold came;
    pause; or end.

    The run goes on by itself only with joints that are well: else it would move unasked once that
    is mended.
    """
    part = context.part_now
    if part.awaits is not None:
        return Pause(holds) if holds else Wait(part.awaits)
    if part.pause_line is not None:
        return Pause()
    turn = next_part(context, now)
    if isinstance(turn, End):
        return turn
    if holds:
        return Pause(holds)
    for link in context.links:
        if wrong := obstacle(lambda link=link: require_on_path(link, now)):  # type: ignore[misc]
            return Pause(f"between two loops: {wrong.message}")
    return turn
