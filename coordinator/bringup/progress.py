"""From what was done of a bring-up, and what the joint is now, to what is to be done."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import chain, count
from typing import Final

from coordinator.answers.bring_up import BringUp, BringUpSaid, BringUpStep, Figure, StepState
from coordinator.bringup.basis import basis_of, differences
from coordinator.bringup.facts import NOT_SO
from coordinator.bringup.steps import BY_CODE, IDENTIFIED, PLACED, STEPS, Aspect, Step
from coordinator.config.joint import Joint

SAME_BODY: Final = "controller-only"
"""What is said instead of a step: the controller alone was changed, the body stayed."""
OTHER_BODY: Final = "other-body"
"""What is said instead of a step: motor, gear, housing or magnets are others than before."""


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


def against(one: Done) -> str | None:
    """What was said or measured of a step then against it, a clause; None where it was done."""
    step, answer = BY_CODE.get(one.step), one.figures.get("answer")
    if step is not None and answer in step.bad_answers:
        return f"{one.who} said: {answer}"
    measured = one.figures.get(NOT_SO)
    return None if measured is None else str(measured)


def body_of(controller: str, done: Sequence[Done]) -> str:
    """Which motor, gear and housing a controller has: those of what was done or said last here, if
    that was with it; else others than any before, also where it comes back.
    """
    if done and done[-1].basis.get(Aspect.CONTROLLER) == controller:
        return done[-1].basis.get(Aspect.BODY, controller)
    known = {one.basis.get(Aspect.BODY) for one in done}
    names = (f"{controller} ({k})" for k in count(2))
    return next(one for one in chain((controller,), names) if one not in known)


def newest_before(done: Sequence[Done]) -> int:
    """The newest homing that says nothing of the joint as it is: it was configured behind that one,
    or its body said to be another. 0 where there is none.
    """
    marks = [one.figures.get("homing_before") for one in done]
    return max((one for one in marks if isinstance(one, int)), default=0)


def before_of(controller: str, done: Sequence[Done]) -> Done | None:
    """The newest that was done with another controller, while this one's body matters to nothing
    that was done or said; None where there is none, or that is so no more.
    """
    for one in reversed(done):
        if one.basis.get(Aspect.CONTROLLER) != controller:
            return one
        step = BY_CODE.get(one.step)
        if step is None or Aspect.BODY in step.depends:
            return None
    return None


def exchanged_with(
    controller: str,
    done: Sequence[Done],
    identified: Mapping[str, Sequence[str]],
    others: Mapping[str, str],
) -> str | None:
    """The joint that had this controller before the one that it has now: the two may have changed
    places. None where there is none, and once somebody has seen that it is right here.

    `identified` has by joint the controllers with which it was identified, oldest first; `others`
    the controllers that the other joints of the arm have now.
    """
    if _is_seen(controller, done):
        return None
    for name, now in others.items():
        before = (one for one in reversed(identified.get(name, ())) if one != now)
        if next(before, None) == controller:
            return name
    return None


def _is_seen(controller: str, done: Sequence[Done]) -> bool:
    """Whether somebody saw this controller's joint in its place since it came, and not against."""
    newest: dict[str, Done] = {}
    for one in reversed(done):
        if one.basis.get(Aspect.CONTROLLER) != controller:
            break
        if one.step in (IDENTIFIED, PLACED):
            newest.setdefault(one.step, one)
    return bool(newest) and all(against(one) is None for one in newest.values())


def width_before(basis: Mapping[str, str], done: Sequence[Done]) -> float | None:
    """How wide the home sensor was, in degrees, as `home` was done last on the same body and gear;
    None where that is not known.
    """
    same = [(key, basis.get(key)) for key in (Aspect.BODY, Aspect.GEAR)]
    for one in reversed(done):
        if one.step != "home" or against(one) is not None:
            continue
        width_deg = one.figures.get("sensor_width_deg")
        if isinstance(width_deg, float) and all(one.basis.get(key) == was for key, was in same):
            return width_deg
    return None


def bring_up(
    joint: Joint,
    number: int,
    firmware: str | None,
    done: Sequence[Done],
    exchanged: str | None = None,
) -> BringUp:
    """How far the bring-up of a joint is; `done` oldest first."""
    now = basis_of(joint, number, firmware, body_of(joint.id, done))
    newest = {one.step: one for one in done}
    told: list[BringUpStep] = []
    following: str | None = None
    for step in STEPS:
        found = newest.get(step.code)
        because = () if found is None else _why_not(step, found, now)
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
        exchanged,
        tuple(told),
        tuple(
            BringUpSaid(
                one.step, one.utc, one.who, one.basis.get(Aspect.CONTROLLER), dict(one.figures)
            )
            for one in done
        ),
    )


def _why_not(step: Step, found: Done, now: Mapping[str, str]) -> tuple[str, ...]:
    """Why what was said of a step last does not count, clauses; none where it does."""
    taken_back = against(found)
    said = () if taken_back is None else (taken_back,)
    return (*said, *differences(found.basis, now, step.depends))


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
