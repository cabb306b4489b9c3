"""Ended: only the report is left, and a stop that joints may not have confirmed yet."""

from coordinator.core.run.phase import RunPhase
from coordinator.core.run.phases import Phase
from coordinator.core.run.turns import Ending, Turn


class Ended(RunPhase):
    """Over."""

    phase = Phase.ENDED
    holds_points = False
    steps = False

    def end_at_rest(self, ending: Ending, cause: str, now: int) -> Turn | None:
        return None
