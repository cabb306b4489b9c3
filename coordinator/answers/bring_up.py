"""How far the bring-up of a joint is."""

from dataclasses import dataclass
from enum import StrEnum

Figure = str | float | bool | None
"""One that is None was not known as the step was done."""


class StepState(StrEnum):
    """Of one step."""

    DONE = "done"
    NEXT = "next"
    """It is the one to be done now."""
    WAITS = "waits"
    """For those before it."""


@dataclass(frozen=True, slots=True)
class BringUpStep:
    """One step, and what was found when it was done last."""

    step: str
    title: str
    todo: str
    caution: str
    answers: tuple[str, ...]
    """What somebody may say of it; none where nobody is asked."""
    measures: bool
    """Whether it asks by how many degrees the joint was told to turn, and by how many it did."""
    state: StepState
    because: tuple[str, ...]
    """Why what was done before counts no more, clauses; none where it does, or nothing was done."""
    done_utc: str | None
    """When it was done last, also where that counts no more."""
    who: str | None
    figures: dict[str, str | float | bool | None]
    """What was found then, by name; names end in their unit."""
    basis: dict[str, str]
    """With what it was done: controller, firmware and what the arm file said."""
    has_picture: bool


@dataclass(frozen=True, slots=True)
class BringUpSaid:
    """What was done or said once, whether it counts now or not."""

    step: str
    """Or `controller-only` or `other-body`."""
    utc: str
    who: str
    controller: str | None
    """With which it was done; None where that is not known."""
    figures: dict[str, str | float | bool | None]


@dataclass(frozen=True, slots=True)
class BringUp:
    """The bring-up of one joint."""

    joint: str
    place: int
    """Its number in the arm, from the base."""
    controller: str
    """The id that the arm file gives it."""
    firmware: str | None
    """That runs in it; None where it is not heard."""
    complete: bool
    """Whether every step is done, and counts."""
    next: str | None
    """The step that is to be done now; None where all are done."""
    other_controller: str | None
    """The one before, where it is not known whether the controller alone was changed, or the whole
    joint; None where nothing is to be said of it."""
    exchanged: str | None
    """The joint that had the controller that this one has now before its own, until somebody has
    seen that it is right here: the two may have changed places. None where there is none."""
    steps: tuple[BringUpStep, ...]
    history: tuple[BringUpSaid, ...]
    """All that was done and said of the joint in this place, oldest first, over every swap."""
