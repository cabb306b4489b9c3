"""Starting together: arm, go, first permit, withdrawal, retry, refusal (design section 4).

One `Start` brings all joints of a run from rest at one path time to moving by one rate change.
It believes three things. Only echoes of the *current* plan count. *Go* is sent only after every
joint has complied with the *arm* before it. A start that not all confirmed by its instant minus
the margin is withdrawn by a newer plan without it, which is the next *arm*.
"""

from enum import StrEnum
from typing import Final

from coordinator.codes.level import Level
from coordinator.core.link.link import JointLink, slowest
from coordinator.core.link.words import why_offline
from coordinator.core.outbox import Outbox
from coordinator.core.run.permit import PermitKeeper
from coordinator.core.run.report import JointStart, StartRecord
from coordinator.core.skew import too_wide
from coordinator.timing.start_delay import ATTEMPTS, CONFIRM_MIN_US, confirm_us, start_delay_us
from protocol.constants import EXPIRY_US
from protocol.drive import Plan
from protocol.pathtime import Course, RateChange
from protocol.ramp import Ramp
from protocol.states import JointState
from protocol.status import Reason

CONFIRM_SHARE: Final = 3.5
"""Start delay over confirmation time, 2.1 to 0.6 worst link delays (design section 4.1). Where a
start delay meets its cap that gives way with it, or a link that was cut for some seconds could not
start while the worst link delay
remembers that."""
ARM_PATIENCE_US: Final = 2_000_000
"""How long a joint may take to comply with *arm*, or to come nearer while it advances."""

S = JointState


class Stage(StrEnum):
    """Where a start is."""

    ARMING = "arming"
    STARTING = "starting"
    CONFIRMED = "confirmed"
    """Every joint has echoed *go*: they will move together."""
    REFUSED = "refused"
    """It cannot be made; `message` names the joint and the figures."""
    PARTIAL = "partial"
    """Some joints began alone, for their first permit."""
    AT_END = "at end"
    """Nothing is left to play: all advanced to the last point."""


class Start:
    """One start or resume of all joints of a run, with its attempts."""

    def __init__(
        self,
        trajectory: int,
        stand_us: int,
        rate_ppm: int,
        links: list[JointLink],
        ramp: Ramp,
        skew_limit_us: float,
        outbox: Outbox,
        now: int,
        *,
        advancing: bool,
    ) -> None:
        self.stage = Stage.ARMING
        self.message = ""
        self.repeated_for = ""
        """The joint for which it was set anew last; empty where it was not."""
        self.record: StartRecord | None = None
        self.course: Course | None = None
        self.permit: PermitKeeper | None = None
        self._trajectory = trajectory
        self._stand_us = stand_us
        self._rate_ppm = rate_ppm
        self._links = links
        self._ramp = ramp
        self._skew_limit_us = skew_limit_us
        self._outbox = outbox
        self._advancing = advancing
        self._attempt = 0
        self.plan = self._arm(now)

    def expiry_us(self, now: int) -> int | None:
        """Permission to advance along the path while arming for a resume."""
        return now + EXPIRY_US if self._advancing and self.stage is Stage.ARMING else None

    @property
    def permit_us(self) -> int | None:
        """The first permit, once a start is set."""
        return self.permit.offer_us if self.permit else None

    def next_deadline(self) -> int | None:
        """When patience with a joint is over, or a start that is not confirmed is withdrawn."""
        if self.stage is Stage.ARMING:
            return self._since_us + ARM_PATIENCE_US + 1
        if self.stage is Stage.STARTING and self.record is not None:
            return self.record.at_us - self.record.confirm_us
        return None

    def step(self, now: int) -> None:
        """Look at the joints' echoes and go on."""
        if self.stage is Stage.ARMING:
            self._await_arm(now)
        elif self.stage is Stage.STARTING:
            self._await_go(now)

    # ---- arm --------------------------------------------------------------------------------

    def _arm(self, now: int) -> Plan:
        """A plan without a rate change and no permit: nothing can start, nothing is late."""
        self.stage = Stage.ARMING
        self.course, self.permit = None, None
        self._since_us = now
        self._nearest: dict[str, int] = {}
        self.plan = Plan(self._outbox.plan_number(), self._trajectory, self._stand_us)
        return self.plan

    def _await_arm(self, now: int) -> None:
        uncertain = too_wide(self._links, self._skew_limit_us, now)
        if self._all_comply(now) and uncertain is None:
            self._go(now)
        elif all(link.finished(self._trajectory) for link in self._links):
            self.stage = Stage.AT_END
        elif astray := [link.name for link in self._links if self._began(link)]:
            # A withdrawal came too late for these: they cover their first permit and hold.
            self.stage = Stage.PARTIAL
            self.message = f"{', '.join(astray)} began alone and holds within the first permit"
        else:
            self._watch_patience(now)

    def _all_comply(self, now: int) -> bool:
        """Whether all echo this plan, each by a map that is known to be true."""
        return all(
            link.complies(self.plan) and link.clock_uncertainty_us(now) is not None
            for link in self._links
        )

    def _began(self, link: JointLink) -> bool:
        """Whether a joint moves, or moved and holds, by a start that was withdrawn.

        Before the first attempt it may only be in the ramp of an advance that was cut short.
        """
        status = link.status
        if self._attempt == 0 or status is None or status.trajectory != self._trajectory:
            return False
        return status.path_us > self._stand_us or status.state in (S.MOVING, S.RAMPING)

    def _lacking(self, now: int) -> JointLink:
        """The first joint that keeps the others waiting; one that is silent may keep all."""
        return next(
            link
            for link in sorted(self._links, key=lambda link: link.heard(now))
            if not link.complies(self.plan) or link.clock_uncertainty_us(now) is None
        )

    def _watch_patience(self, now: int) -> None:
        for link in self._links:
            path_us = link.status.path_us if link.status else -1
            if path_us > self._nearest.get(link.name, -1):
                self._nearest[link.name] = path_us
                self._since_us = now
        if now - self._since_us > ARM_PATIENCE_US:
            if self._all_comply(now):
                self._refuse(too_wide(self._links, self._skew_limit_us, now) or "")
                return
            link = self._lacking(now)
            self._refuse(f"{link.name} did not get ready: {self._why(link, now)}")

    def _why(self, link: JointLink, now: int) -> str:
        status = link.status
        if status is None or not link.heard(now):
            return f"it is offline: {why_offline(link, now)}"
        if not link.clock.locked:
            return link.clock.reason
        if link.complies(self.plan):
            return "it does not go by its new clock map yet"
        reasons = {
            Reason.NONE: f"it is {status.state.word} at path time {status.path_us} µs",
            Reason.LATE: "the start's instant had passed when it heard of it",
            Reason.NOT_ARMED: f"it is {status.state.word}",
            Reason.ELSEWHERE: (
                f"it stands at path time {status.path_us} µs, beyond {self._stand_us} µs"
            ),
            Reason.POINTS_MISSING: f"its points end at path time {status.buffered_us} µs",
            Reason.NO_MAP: "it has no clock map yet",
        }
        return reasons[status.reason]

    # ---- go ---------------------------------------------------------------------------------

    def _go(self, now: int) -> None:
        """Every joint has complied with *arm*: set the instant and the first permit."""
        self._attempt += 1
        worst_delay_us = slowest(self._links).quality.worst_delay_us
        delay = start_delay_us(worst_delay_us, self._attempt - 1)
        margin = min(confirm_us(worst_delay_us), max(round(delay / CONFIRM_SHARE), CONFIRM_MIN_US))
        change = RateChange(now + delay, self._stand_us, 0, self._rate_ppm)
        self.plan = Plan(self._outbox.plan_number(), self._trajectory, self._stand_us, change)
        self.course = Course.of(change, self._ramp)
        self.permit = PermitKeeper(self._stand_us)
        self.record = StartRecord(
            plan=self.plan.number,
            attempts=self._attempt,
            start_delay_us=delay,
            confirm_us=margin,
            worst_delay_us={link.name: link.quality.worst_delay_us for link in self._links},
            at_us=change.at_us,
            path_us=self._stand_us,
            joints={
                link.name: JointStart(clock_epoch=link.sync.clock_epoch) for link in self._links
            },
        )
        self.stage = Stage.STARTING

    def _await_go(self, now: int) -> None:
        assert self.record is not None
        if self._all_comply(now):
            for link in self._links:
                entry = self.record.joints[link.name]
                # Of a clock that was found anew meanwhile it would be another's.
                if entry.clock_epoch == link.sync.clock_epoch:
                    entry.clock_uncertainty_us = link.clock_uncertainty_us(now)
            self.stage = Stage.CONFIRMED
        elif now >= self.record.at_us - self.record.confirm_us:
            late = self._lacking(now)
            if self._attempt < ATTEMPTS:
                self.repeated_for = late.name
                self._outbox.note(
                    now,
                    Level.ATTENTION,
                    "start-withdrawn",
                    f"{late.name} had not confirmed the start in time; trying again",
                    late.name,
                    detail=True,
                )
                self._arm(now)
            else:
                self._refuse(
                    f"{late.name} did not confirm the start in {ATTEMPTS} attempts (last start "
                    f"delay {self.record.start_delay_us / 1e3:.0f} ms, its worst link delay "
                    f"{late.quality.worst_delay_us / 1e3:.0f} ms)"
                )

    def _refuse(self, message: str) -> None:
        self.stage = Stage.REFUSED
        self.message = message
