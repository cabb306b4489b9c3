"""From what was done of a bring-up, and what the joint is now, to what is to be done."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from coordinator.answers.bring_up import BringUp, BringUpStep, Figure, StepState
from coordinator.bringup.basis import basis_of, differences
from coordinator.bringup.steps import STEPS, Aspect, Step
from coordinator.config.joint import Joint

SAME_BODY: Final = "controller-only"
"""What is said instead of a step: the controller alone was changed, the body stayed."""


@dataclass(frozen=True, slots=True)
class Done:
    """One step as it was done once; nothing of it is ever changed."""

    step: str
    utc: str
    who: str
    basis: Mapping[str, str]
    figures: Mapping[str, Figure]
    picture: str | None = None
    """SVG."""


def body_of(controller: str, done: Sequence[Done]) -> str:
    """Which motor, gear and housing a controller has: its own, unless somebody said otherwise."""
    for one in reversed(done):
        if one.step == SAME_BODY and one.basis.get(Aspect.CONTROLLER) == controller:
            return one.basis.get(Aspect.BODY, controller)
    return controller


def before_of(controller: str, done: Sequence[Done]) -> Done | None:
    """The newest that was done with another controller, while nothing is done with this one; None
    where there is none, or something was done or said since.
    """
    newest = done[-1] if done else None
    if newest is None or newest.basis.get(Aspect.CONTROLLER) == controller:
        return None
    return newest


def bring_up(joint: Joint, number: int, firmware: str | None, done: Sequence[Done]) -> BringUp:
    """How far the bring-up of a joint is; `done` oldest first."""
    now = basis_of(joint, number, firmware, body_of(joint.id, done))
    newest = {one.step: one for one in done}
    told: list[BringUpStep] = []
    following: str | None = None
    for step in STEPS:
        found = newest.get(step.code)
        because = () if found is None else differences(found.basis, now, step.depends)
        counts = found is not None and not because
        if not counts and following is None:
            following = step.code
            state = StepState.NEXT
        else:
            state = StepState.DONE if counts else StepState.WAITS
        told.append(_told(step, state, because, found))
    before = before_of(joint.id, done)
    return BringUp(
        joint.name,
        number,
        joint.id,
        firmware,
        following is None,
        following,
        None if before is None else before.basis.get(Aspect.CONTROLLER),
        tuple(told),
    )


def _told(
    step: Step, state: StepState, because: tuple[str, ...], found: Done | None
) -> BringUpStep:
    return BringUpStep(
        step=step.code,
        title=step.title,
        todo=step.todo,
        caution=step.caution,
        answers=step.answers,
        measures=step.measures,
        state=state,
        because=because,
        done_utc=None if found is None else found.utc,
        who=None if found is None else found.who,
        figures={} if found is None else dict(found.figures),
        basis={} if found is None else dict(found.basis),
        has_picture=found is not None and found.picture is not None,
    )
