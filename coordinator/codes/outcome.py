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


def last_place(
    outcome: str, line: int | None, loop: int | None, loops: int | None, part: int | None
) -> str:
    """Where in its program a run was last, for people; empty where it finished or never began.

    `loop` is None where there is one, `loops` where it is played for a time; parts are counted
    over all loops.
    """
    if line is None or outcome == Outcome.FINISHED:
        return ""
    told = f"line {line}"
    if loop is not None:
        told += f", loop {loop}" + ("" if loops is None else f" of {loops}")
    if part is not None and part > 1:
        told += f", part {part}"
    if outcome == Outcome.LOST:
        return f"the program was last known to be at {told}, and may have gone on for some seconds"
    return f"the program was last at {told}"
