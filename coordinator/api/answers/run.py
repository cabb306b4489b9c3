"""A run while it goes on, and where it is."""

from typing import Annotated, Literal

from pydantic import RootModel

from coordinator.api.answers.base import Answer, eg, example_of, one_of
from coordinator.core.run import Phase

OUTCOMES = (
    "playing", "finished", "held", "paused", "stopped", "faulted", "refused", "lost",
)  # fmt: skip
Outcome = Annotated[str, one_of(OUTCOMES)]
"""`playing`, `held` and `paused` while it can go on; `lost` if the coordinator ended first."""
RunPhase = Annotated[str, one_of(phase for phase in Phase if phase is not Phase.ENDED)]


class RunStart(Answer):
    """The start that is set, else the newest that all joints confirmed."""

    at_us: int = eg(80_000_000)
    """Its instant, arm time."""
    path_us: int = eg(0)
    """Path time from which it goes; above 0 for a resume."""
    set: bool = eg(False)
    """Whether it lies ahead."""
    attempts: int = eg(1)
    lead_us: int = eg(240_000)
    """How far ahead it was set."""
    spread_us: int | None = eg(310)
    """From the first joint's start to the last one's, once all have reported."""
    bound_us: int | None = eg(820)
    """What that is proved not to exceed."""
    slack_us: dict[str, int | None] = eg({"elbow": 171_000})
    """How long before the instant each joint had all it needed to start."""


class RunNow(Answer):
    """The run that has not ended."""

    number: int = eg(1)
    name: str = eg("prick_out_tray.nc")
    phase: RunPhase = eg("moving")
    part: int = eg(1)
    """Of the program, from 1: an M0 divides it."""
    parts: int = eg(2)
    line: int | None = eg(7)
    path_us: int | None = eg(1_230_000)
    """Path time at which it is, in this part; `null` where nobody knows."""
    end_us: int | None = eg(9_400_000)
    """Path time of this part's end; `null` as long as it is not planned that far."""
    rate_percent: float = eg(100.0)
    """Speed in per cent of the program's."""
    attempts: int = eg(1)
    """That the newest start took, 0 before the first."""
    message: str = eg("")
    """Why it is held; empty else."""
    lines: int = eg(42)
    """That the program has."""
    left_us: int | None = eg(8_170_000)
    """Time to the end of this part at the present speed."""
    start: RunStart | None = eg(example_of(RunStart))
    behind_us: dict[str, int] | None = eg(None)
    """While it is held, by how much path time each joint that is heard is behind the furthest."""


class Obstacle(Answer):
    """Why something cannot be commanded now."""

    code: str = eg("joint-lost")
    """As in a problem's `type`."""
    message: str = eg("elbow is not there: silent")


class _Told(Answer):
    run: int = eg(1)
    name: str = eg("prick_out_tray.nc")
    outcome: Outcome = eg("finished")
    message: str = eg("")
    """Why it ended so, or is held; empty if there is nothing to say."""
    obstacle: Obstacle | None = eg(None)
    """Of a run that is held or paused: why it could not go on now."""


class RunOver(_Told):
    """A run that has ended, or whose end is being written."""

    phase: Literal["ended", "ending"] = eg("ended")


class RunGoing(_Told, RunNow):
    """A run that has not ended."""


class RunProgress(RootModel[RunOver | RunGoing]):
    """Where a run is."""
