"""Jogging: joints move while their controls are held, or by steps of set angles.

A control that is let go moves nothing: what is not said again in time is over. A step is a target
in counts at which the joint itself stops; another step moves the target on, so that steps end at
their exact sum, however many are under way and whatever the network loses.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from coordinator.codes.level import Level
from coordinator.codes.refusal import RefusalCode
from coordinator.core.events import Refused
from coordinator.core.link.link import JointLink
from coordinator.core.link.words import listed
from coordinator.core.outbox import Outbox
from coordinator.core.skew import expiry_doubt
from protocol.constants import EXPIRY_US, US
from protocol.states import JointState

JOG_RENEWAL_US: Final = 300_000
"""A jog command that is not repeated within this time is over: the control was let go."""
STEPS_MOST: Final = 50
"""Steps of one joint that may be under way; more are refused."""
STEP_LINGER_US: Final = 500_000
"""A joint that has come to its target waits there so long for another step."""
STOOD_US: Final = 1 * US
"""So long after a joint was seen at its target it stands there, unless it is jogged otherwise."""
STEP_SPARE_US: Final = 3 * US
"""What a step may take longer than its angle at its speed does, on links that lose much."""


@dataclass(slots=True)
class Steps:
    """Steps of one joint that are under way, as one target."""

    end: float
    """Counts, the sum of their angles: what each of them is off by when rounded would add up."""
    speed: int
    """Counts/s."""
    count: int
    """Since the joint stood still last."""
    until_us: int
    """When they are given up."""
    after_sequence: int
    """Of the last drive before this target: only an answer to a later one tells of it."""
    arrived_us: int | None = None

    @property
    def target(self) -> int:
        """The count next to it."""
        return round(self.end)


@dataclass(frozen=True, slots=True)
class Held:
    """What a control that is held asks of a joint."""

    velocity: int
    """Counts/s; with a target a speed."""
    target: int | None = None
    """Counts, where it comes to rest by itself."""


@dataclass(frozen=True, slots=True)
class JogOrder:
    """What a joint's drive says of its jog."""

    velocity: int
    """Counts/s."""
    target: int | None
    expiry_us: int


class Jog:
    """What is jogged, joint by joint; nothing at first."""

    def __init__(self, outbox: Outbox) -> None:
        self._outbox = outbox
        self._held: dict[JointLink, Held] = {}
        self._known_faults: dict[JointLink, frozenset[str]] = {}
        """What each joint that is held had when its control was taken: that is what it clears."""
        self._steps: dict[JointLink, Steps] = {}
        self._stood: dict[JointLink, tuple[int, int]] = {}
        """Where steps ended last, and when; the joint may not have said yet that it rests there."""
        self._until_us = 0
        self._let_go_us = 0
        """Until then a jog that was ended must not have been asked for again."""
        self._why = ""
        """It was ended, where it was not by anybody's hand."""

    @property
    def links(self) -> list[JointLink]:
        """The joints that are jogged, base to tool."""
        return sorted({**self._held, **self._steps}, key=lambda link: link.index)

    @property
    def goes_on(self) -> bool:
        """Whether any joint is jogged; cheaper than which."""
        return bool(self._held or self._steps)

    @property
    def by_steps(self) -> bool:
        """Whether it is by steps that joints are jogged."""
        return bool(self._steps)

    # ---- a control that is held -------------------------------------------------------------

    def require_let_go(self, now: int) -> None:
        """Raise Refused while a control that was held through a jog's end is held still.

        It must not begin to move anything again.
        """
        if now < self._let_go_us:
            self._let_go_us = now + JOG_RENEWAL_US
            because = f" ({self._why})" if self._why else ""
            message = f"the jog was ended{because}; let go of the control first"
            raise Refused(RefusalCode.JOG_ENDED, message)

    def holds(self, link: JointLink) -> bool:
        """Whether a control of this joint is held."""
        return link in self._held

    def keep(self, held: dict[JointLink, Held], now: int) -> None:
        """These controls are held, and no others: begin, or go on for a while."""
        self._known_faults = {link: self._known_faults.get(link, link.faults) for link in held}
        self._held = held
        self.renew(now)
        for link in held:
            self._stood.pop(link, None)

    def renew(self, now: int) -> None:
        """What is held goes on for a while."""
        self._until_us = now + JOG_RENEWAL_US

    @property
    def to_place(self) -> bool:
        """Whether what is held goes to a place."""
        return any(held.target is not None for held in self._held.values())

    def goes_to(self, targets: Mapping[JointLink, int]) -> bool:
        """Whether what is held goes to this place already."""
        return self.to_place and all(
            targets.get(link) == held.target for link, held in self._held.items()
        )

    # ---- steps ------------------------------------------------------------------------------

    def is_stepping(self, link: JointLink) -> bool:
        """Whether steps of this joint are under way, or have just been done."""
        return link in self._steps

    def end_of_step(self, link: JointLink, by_deg: float, now: int) -> float:
        """Where one more step of a joint ends, in counts, not rounded. Raises Refused."""
        joint, name = link.joint, link.name
        steps = self._steps.get(link)
        if steps is not None and steps.count >= STEPS_MOST:
            raise Refused(
                RefusalCode.STEPS, f"{name}: {steps.count} steps are under way, no more are taken"
            )
        by = by_deg * joint.counts_per_degree
        if round(by) == 0:
            raise Refused(
                RefusalCode.STEP_ANGLE,
                f"{name}: a step of {by_deg:g}° turns nothing; the smallest of its motor is "
                f"{joint.microstep_deg:.3g}°",
            )
        end = (self._base(link, now) if steps is None else steps.end) + by
        if link.status is not None and link.status.homed:
            require_in_range(link, end, f"a step to {joint.to_degrees(end):.8g}°")
        return end

    def step_to(self, link: JointLink, end: float, speed_deg_s: float, now: int) -> None:
        """A joint shall come to rest there, at the count next to it."""
        assert link.status is not None, "end_of_step() has looked"
        speed = max(1, round(speed_deg_s * abs(link.joint.counts_per_degree)))
        way_us = abs(round(end) - link.status.position) * US // speed
        before = self._steps.get(link)
        self._steps[link] = Steps(
            end=end,
            speed=speed,
            count=before.count + 1 if before is not None and before.arrived_us is None else 1,
            until_us=now + 2 * way_us + STEP_SPARE_US,
            after_sequence=link.orders.sequence,
        )
        self._stood.pop(link, None)

    def _base(self, link: JointLink, now: int) -> int:
        """From where the first step counts: where the joint surely stands."""
        status = link.status
        if status is not None and link.rests(now):
            return status.position
        stood = self._stood.get(link)
        # It has not said yet that it rests where its last steps ended.
        if stood is not None and now - stood[1] <= STOOD_US:
            return stood[0]
        state = status.state.word if status is not None else "not heard"
        raise Refused(
            RefusalCode.NOT_AT_REST, f"{link.name} has not confirmed to be at rest, it is {state}"
        )

    # ---- ends -------------------------------------------------------------------------------

    def end(self, now: int, why: str = "") -> None:
        """End all jogs that their operator did not end."""
        if self.goes_on:
            self._why = why
            for link, steps in self._steps.items():
                self._tell_short(link, steps, now, why)
            self._held, self._known_faults, self._steps, self._stood = {}, {}, {}, {}
            self._let_go_us = now + JOG_RENEWAL_US
            self._outbox.at_once = True

    def end_of(self, link: JointLink, now: int) -> None:
        """A joint was lost: where it is jogged, all jogs end."""
        if link in self._held or link in self._steps:
            self.end(now)

    def faulted(self, link: JointLink, fault: str, now: int) -> None:
        """A joint told of a fault, which may be cleared before a status tells of it.

        What goes to a target ends: where the joint is may not be sure any more. A control that is
        held clears what was there when it was taken, and nothing that came since.
        """
        known = self._known_faults.get(link, frozenset())
        if link in self._steps or self.to_place or fault not in known:
            self.end_of(link, now)

    def step(self, now: int) -> None:
        """End a jog that was not asked for again, is done, or whose joint is silent or does not
        know when its permission ends.
        """
        if not self.goes_on:
            return
        if not all(link.heard(now) for link in self.links):
            self.end(now)
        if any(link.faults - known for link, known in self._known_faults.items()):
            self.end(now)
        for link in self.links:
            if doubt := expiry_doubt(link, now):
                message = f"the jog ended: {doubt}"
                self._outbox.note(now, Level.ATTENTION, "jog-cut", message, link.name)
                self.end(now, doubt)
                break
        if self._held and now >= self._until_us:
            self._held, self._known_faults = {}, {}
            self._outbox.at_once = True
        for link, steps in list(self._steps.items()):
            if self._is_over(link, steps, now):
                del self._steps[link]
                self._outbox.at_once = True

    def drive_fields(self, link: JointLink, now: int) -> JogOrder | None:
        """What a joint's drive says, None for one that is not jogged."""
        if link in self._held:
            held = self._held[link]
            return JogOrder(held.velocity, held.target, now + EXPIRY_US)
        if link in self._steps:
            steps = self._steps[link]
            return JogOrder(steps.speed, steps.target, now + EXPIRY_US)
        return None

    def _is_over(self, link: JointLink, steps: Steps, now: int) -> bool:
        status = link.status
        assert status is not None, "it is heard"
        if (
            status.sequence > steps.after_sequence
            and status.velocity == 0
            and status.position == steps.target
        ):
            steps.arrived_us = steps.arrived_us or now
            self._stood[link] = steps.target, now
            return now - steps.arrived_us >= STEP_LINGER_US
        if now >= steps.until_us or link.in_state(JointState.FAULTED):
            self._tell_short(link, steps, now)
            return True
        return False

    def _tell_short(self, link: JointLink, steps: Steps, now: int, why: str = "") -> None:
        """Whoever counts on a step must hear that it was not carried out whole."""
        if steps.arrived_us is None and link.status is not None:
            end_deg = link.joint.to_degrees(steps.end)
            at_deg = link.joint.to_degrees(link.status.position)
            message = (
                f"{link.name}: its steps ended before it was at {end_deg:.3f}°, their end; "
                f"it was last heard at {at_deg:.3f}°"
            )
            if why:
                message += f"; {why}"
            self._outbox.note(now, Level.ATTENTION, "steps-short", message, link.name)


def require_in_range(link: JointLink, counts: float, what: str) -> None:
    """Raise Refused where that position is out of a joint's range; `what` says it in degrees."""
    joint = link.joint
    if joint.range_counts is None or joint.range_deg is None:
        return
    low, high = joint.range_counts
    if not low <= round(counts) <= high:
        first_deg, last_deg = joint.range_deg
        raise Refused(
            RefusalCode.STEP_RANGE,
            f"{link.name}: {what}, its range is {first_deg:g} to {last_deg:g}°",
        )


def jogged(links: Sequence[JointLink]) -> str:
    """Which joints are jogged, a clause for people."""
    verb = "is" if len(links) == 1 else "are"
    return f"{listed([link.name for link in links])} {verb} jogged"
