"""What became of a run."""

from enum import StrEnum


class Outcome(StrEnum):
    """What became of a run, or is becoming of it.

    `playing`, `held` and `paused` while it can go on; `lost` if the coordinator ended first.
    """

    PLAYING = "playing"
    HELD = "held"
    PAUSED = "paused"
    FINISHED = "finished"
    STOPPED = "stopped"
    FAULTED = "faulted"
    REFUSED = "refused"
    LOST = "lost"

    @property
    def is_over(self) -> bool:
        """Whether the run cannot go on any more."""
        return self not in (Outcome.PLAYING, Outcome.HELD, Outcome.PAUSED)
