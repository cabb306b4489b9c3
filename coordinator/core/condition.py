"""What the arm is about, in one word with its cause: what people read first, and act upon.

The word must never be calmer than the truth. A joint counts as at rest only where it said so in
answer to a drive that was sent after the last one that let it move, and was heard within a second
(`JointLink.rests`). API, page and command line all have it from here (design section 8).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Protocol

from coordinator.core.homing import HomingSequence
from coordinator.core.jogging import jogged
from coordinator.core.link.link import JointLink, rests_by_us
from coordinator.core.link.words import has_trouble, listed, not_heard, not_reached, trouble
from coordinator.core.run import Phase, Run
from coordinator.core.run.start import Stage
from coordinator.core.updating.updates import Updates
from coordinator.health.supply import is_gone
from protocol.drive import StopLevel
from protocol.light import ConditionWord
from protocol.ramp import Ramp
from protocol.states import MOVING_STATES, JointState

S = JointState


@dataclass(frozen=True, slots=True)
class Condition:
    """The word, and what belongs to it. Instants are arm time."""

    word: ConditionWord
    cause: str = ""
    """Why, a clause that may name joints; empty where there is nothing to say."""
    joint: str | None = None
    """The joint that the cause is about, where it is about one."""
    at_us: int | None = None
    """When it starts, where that is set."""
    unconfirmed: tuple[str, ...] = ()
    """Joints that have not confirmed a stop: they may move still."""
    rests_by_us: int | None = None
    """By when joints that are not heard are at rest by their own rules, unconfirmed."""


class ArmParts(Protocol):
    """Of the machine: what the condition is made of."""

    links: list[JointLink]
    run: Run | None
    homing: HomingSequence | None
    ramp: Ramp
    stopped_why: str
    announced: str
    updates: Updates

    @property
    def jogging(self) -> list[JointLink]:
        """The joints that are jogged."""


def condition(arm: ArmParts, now: int) -> Condition:
    """The arm's condition at arm time `now`."""
    unconfirmed = unstopped(arm.links, now)
    found = _moving(arm, now) or _unknown(arm, now) or _coming(arm, now) or _at_rest(arm)
    if not unconfirmed:
        return found
    cause = not_reached(unconfirmed)
    return Condition(found.word, cause, unconfirmed[0], found.at_us, unconfirmed, found.rests_by_us)


def unstopped(links: Sequence[JointLink], now: int) -> tuple[str, ...]:
    """Joints that have not confirmed a stop, and may move still."""
    return tuple(link.name for link in links if link.orders.stop_wanted and not link.rests(now))


def _moving(arm: ArmParts, now: int) -> Condition | None:
    """Some joint says that it moves."""
    moving = [link for link in arm.links if link.heard(now) and link.state in MOVING_STATES]
    if not moving:
        return None
    homing = [link for link in moving if link.state is S.HOMING]
    if len(homing) == len(moving):
        return Condition(ConditionWord.HOMING, _names(homing), homing[0].name)
    return Condition(ConditionWord.MOVING, *_why_moving(arm, moving, now))


def _why_moving(arm: ArmParts, moving: Sequence[JointLink], now: int) -> tuple[str, str | None]:
    for link in arm.links:
        if not link.heard(now):
            return not_heard(link), link.name
    turning = [link for link in moving if link.state is S.JOGGING]
    if turning:
        return jogged(turning), turning[0].name
    behind = [link for link in moving if link.state is S.ADVANCING]
    if behind:
        return f"{_names(behind)} comes up to where the others hold", behind[0].name
    run = arm.run
    if run is None or run.phase is Phase.ENDED:
        return f"{_names(moving)} {'comes' if len(moving) == 1 else 'come'} to rest", None
    if run.phase is Phase.HOLDING:
        return f"coming to rest: {run.cause}", None
    return run.play.name, None


def _unknown(arm: ArmParts, now: int) -> Condition | None:
    """Some joint is not heard, so nobody knows what it does."""
    silent = [link for link in arm.links if not link.heard(now)]
    if not silent:
        return None
    first = silent[0]
    cause = arm.updates.away(first) or not_heard(first)
    if len(silent) > 1:
        cause = f"{_names(silent)} are offline"
    by_us = rests_by_us(silent, arm.ramp)
    return Condition(ConditionWord.NOT_KNOWN, cause, first.name, rests_by_us=by_us)


def _coming(arm: ArmParts, now: int) -> Condition | None:
    """No joint says that it moves, but some may, or will without another command."""
    run, homing = arm.run, arm.homing
    if turned := arm.jogging:
        return Condition(ConditionWord.MOVING, jogged(turned), turned[0].name)
    if homing is not None and (current := homing.current) is not None:
        return Condition(ConditionWord.HOMING, current.name, current.name)
    if run is not None and run.phase in _WILL_MOVE:
        return _of_run(run, now)
    if run is not None and run.coming:
        # It goes on by itself, at any moment.
        return Condition(ConditionWord.STARTS, f"{run.play.name} {run.coming}")
    loose = [link for link in arm.links if not link.rests(now)]
    if loose:
        verb = "has" if len(loose) == 1 else "have"
        cause = f"{_names(loose)} {verb} not confirmed to be at rest"
        return Condition(ConditionWord.MOVING, cause, loose[0].name)
    return Condition(ConditionWord.STARTS, arm.announced) if announced(arm) else None


def announced(arm: ArmParts) -> bool:
    """Whether no run goes on, and one will begin without another command."""
    run = arm.run
    return bool(arm.announced) and (run is None or run.phase is Phase.ENDED or run.finishes)


def _of_run(run: Run, now: int) -> Condition:
    """A run that is about to move, or does and no joint has said so yet."""
    start = run.start
    if run.phase is Phase.HOLDING:
        return Condition(ConditionWord.MOVING, f"coming to rest: {run.cause}")
    course = run.course
    is_set = run.phase is Phase.MOVING or (start is not None and start.stage is Stage.STARTING)
    if is_set and course is not None:
        if course.at_us > now:
            return Condition(ConditionWord.STARTS, run.play.name, at_us=round(course.at_us))
        return Condition(ConditionWord.MOVING, run.play.name)
    return Condition(ConditionWord.STARTS, run.play.name)


_WILL_MOVE: Final = (Phase.LOADING, Phase.PREPARING, Phase.STARTING, Phase.MOVING, Phase.HOLDING)


def _at_rest(arm: ArmParts) -> Condition:
    """Every joint surely rests: what keeps it there, the gravest first."""
    statuses = [(link, link.status) for link in arm.links if link.status is not None]
    unfed = next((link for link, status in statuses if is_gone(status)), None)
    faulty = unfed or next((link for link, _ in statuses if has_trouble(link)), None)
    limp = [link for link, status in statuses if not status.energised or is_gone(status)]
    stopped = [link for link, status in statuses if status.stop is not StopLevel.NONE]
    fault = "" if faulty is None else trouble(faulty)
    if limp:
        names = "" if len(limp) == len(arm.links) or limp == [unfed] else _names(limp)
        released = any(status.stop > StopLevel.STOP for link, status in statuses if link in limp)
        why = fault or (arm.stopped_why if released else "")
        about = faulty or (limp[0] if names else None)
        cause = ": ".join(part for part in (names, why) if part)
        return Condition(ConditionWord.MOTORS_OFF, cause, about.name if about else None)
    if faulty is not None:
        return Condition(ConditionWord.STOPPED, fault, faulty.name)
    if stopped:
        return Condition(ConditionWord.STOPPED, arm.stopped_why)
    run = arm.run
    if run is not None and run.phase is Phase.HELD:
        return Condition(ConditionWord.HELD, run.cause)
    if run is not None and run.phase is Phase.PAUSED:
        return Condition(ConditionWord.PAUSED, f"{run.play.name}: {run.cause}")
    unhomed = [link for link, _ in statuses if not link.homed]
    wandered = [link for link in unhomed if link.wandered]
    if wandered:
        return Condition(
            ConditionWord.AT_REST,
            f"home of {_names(wandered)} wandered: look, then accept it",
            wandered[0].name,
        )
    if unhomed:
        verb = "is" if len(unhomed) == 1 else "are"
        return Condition(ConditionWord.AT_REST, f"{_names(unhomed)} {verb} not homed")
    return Condition(ConditionWord.AT_REST)


def _names(links: Sequence[JointLink]) -> str:
    return listed([link.name for link in links])
