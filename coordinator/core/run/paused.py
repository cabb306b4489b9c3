"""Paused: the program waits for the operator, between two parts."""

from coordinator.codes.refusal import RefusalCode
from coordinator.core.events import Refused
from coordinator.core.readiness import require_on_path
from coordinator.core.run.context import Context
from coordinator.core.run.phase import RunPhase
from coordinator.core.run.phases import Phase
from coordinator.core.run.switched import require_outputs
from coordinator.core.run.turns import Turn, Wait
from coordinator.core.run.waiting import next_part


class Paused(RunPhase):
    """At an M0 or what stops as it does; or, because of `why`, between two loops, or where an input
    is awaited: then resume waits for it anew.
    """

    phase = Phase.PAUSED
    holds_points = False
    steps = False

    def __init__(self, context: Context, now: int, why: str) -> None:
        super().__init__(context, now)
        self._cause = why or f"the pause of line {context.part_now.pause_line} waits for resume"

    @property
    def cause(self) -> str:
        return self._cause

    def hold(self, cause: str, now: int) -> Turn | None:
        line = self.context.part_now.end_line
        what = "pause" if self.context.part_now.awaits is None else "wait"
        where = "between two loops" if line is None else f"at the {what} of line {line}"
        raise Refused(
            RefusalCode.NOTHING_MOVES,
            f"run {self.context.number} waits for resume {where}; nothing moves",
        )

    def resume(self, now: int) -> Turn | None:
        for link in self.context.links:
            require_on_path(link, now)
        require_outputs(self.context, at_end=True)
        following = self.context.following
        if following is not None and following.broken_off:
            raise Refused(RefusalCode.PLANNER, following.broken_off)
        awaited = self.context.part_now.awaits
        return Wait(awaited) if awaited is not None else next_part(self.context, now)
