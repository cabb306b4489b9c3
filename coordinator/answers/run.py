"""Where a run is."""

from dataclasses import dataclass
from typing import Literal

from coordinator.codes.outcome import Outcome
from coordinator.core.snapshot.run import RunSnapshot


@dataclass(frozen=True, slots=True, kw_only=True)
class RunGoing(RunSnapshot):
    """A run that has not ended."""

    run: int
    """Its number."""
    outcome: Outcome

    @property
    def needs_somebody(self) -> bool:
        """Whether it rests for a reason that its program does not name."""
        return self.phase == "held" or (self.phase == "paused" and self.awaits is not None)


@dataclass(frozen=True, slots=True)
class RunOver:
    """A run that has ended, or whose end is being written."""

    run: int
    name: str
    outcome: Outcome
    message: str
    """Why it ended so; empty if there is nothing to say."""
    obstacle: None
    phase: Literal["ended", "ending"]

    @property
    def needs_somebody(self) -> bool:
        """Whether nothing more comes by itself."""
        return self.phase == "ended"
