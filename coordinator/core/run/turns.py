"""What a phase asks for when it is over: the next one, as a value, with what that needs."""

from dataclasses import dataclass
from typing import ClassVar

from coordinator.codes.outcome import Outcome
from coordinator.core.run.phases import Trigger
from coordinator.core.run.rest import HeldAt
from coordinator.core.run.start import Start
from coordinator.motion.outputs import Awaited


@dataclass(frozen=True, slots=True)
class Ending:
    """How a run ends, and why: a sentence, empty for one that finished."""

    outcome: Outcome
    message: str = ""
    is_told: bool = False
    """Whether people have a line of it already."""


@dataclass(frozen=True, slots=True)
class RefusedUnlessMoved:
    """The first start was refused: the run is over, unless some joint began all the same."""

    message: str


@dataclass(frozen=True, slots=True)
class PartOver:
    """Nothing of the part is left: the run pauses or waits, or ends.

    `holds` says why a hold was asked for in the part, which its end came before.
    """

    holds: str = ""


AfterRest = Ending | RefusedUnlessMoved | None
"""What follows a hold once every joint rests; None is a rest from which the operator resumes."""
AfterDiscard = Ending | PartOver


@dataclass(frozen=True, slots=True)
class Loaded:
    """Every joint holds the first points; `holds` says why a hold was asked for meanwhile."""

    trigger: ClassVar[Trigger] = Trigger.LOADED
    holds: str


@dataclass(frozen=True, slots=True)
class StartAt:
    """Start all joints from a path time; `advancing` lets those behind it come up to it first."""

    trigger: ClassVar[Trigger] = Trigger.START
    stand_us: int
    advancing: bool


@dataclass(frozen=True, slots=True)
class Confirmed:
    """Every joint has confirmed a start."""

    trigger: ClassVar[Trigger] = Trigger.CONFIRMED
    start: Start


@dataclass(frozen=True, slots=True)
class HoldFor:
    """Come to rest, because of that, and then do this."""

    trigger: ClassVar[Trigger] = Trigger.HOLD
    cause: str
    then: AfterRest = None


@dataclass(frozen=True, slots=True)
class Rested:
    """Every joint is known to rest."""

    trigger: ClassVar[Trigger] = Trigger.RESTS
    places: HeldAt
    confirmed: bool
    """Whether the start that came before was one that all had confirmed."""
    then: AfterRest


@dataclass(frozen=True, slots=True)
class PartDone:
    """Every joint is at the part's last point; `holds` says why it holds there."""

    trigger: ClassVar[Trigger] = Trigger.PART_DONE
    holds: str = ""


@dataclass(frozen=True, slots=True)
class GiveUp:
    """The run cannot go on."""

    trigger: ClassVar[Trigger] = Trigger.GIVE_UP
    ending: Ending


@dataclass(frozen=True, slots=True)
class Wait:
    """An input is awaited before the run goes on."""

    trigger: ClassVar[Trigger] = Trigger.WAIT
    awaited: Awaited


@dataclass(frozen=True, slots=True)
class Pause:
    """The operator must act: at an M0, or because of that."""

    trigger: ClassVar[Trigger] = Trigger.PAUSE
    why: str = ""


@dataclass(frozen=True, slots=True)
class NextPart:
    """The operator has acted, or the input is there."""

    trigger: ClassVar[Trigger] = Trigger.NEXT_PART


@dataclass(frozen=True, slots=True)
class End:
    """Nothing is left to do."""

    trigger: ClassVar[Trigger] = Trigger.END
    ending: Ending


@dataclass(frozen=True, slots=True)
class StopNow:
    """The stop itself travels in every drive; the run is over."""

    trigger: ClassVar[Trigger] = Trigger.STOP
    ending: Ending


Turn = (
    Loaded
    | StartAt
    | Confirmed
    | HoldFor
    | Rested
    | PartDone
    | GiveUp
    | Wait
    | Pause
    | NextPart
    | End
    | StopNow
)
