"""Running together: the permit is renewed, feed override is carried out (design section 5.1)."""

from typing import Final

from coordinator.codes.level import Level
from coordinator.core.link.link import JointLink, slowest
from coordinator.core.outbox import Outbox
from coordinator.core.run.permit import PermitKeeper
from coordinator.core.run.point_feed import PointFeed
from coordinator.core.run.start import Start
from coordinator.timing.start_delay import confirm_us, start_delay_us
from protocol.constants import ACTIVE_INTERVAL_US, PPM
from protocol.drive import Plan
from protocol.pathtime import Course, RateChange
from protocol.ramp import Ramp
from protocol.states import JointState
from protocol.status import Status

BY_ITSELF: Final = "stops by itself"
"""What is known of a joint's own hold until it tells why."""


class Motion:
    """All joints of a run from a confirmed start to the next rest."""

    def __init__(
        self, start: Start, links: list[JointLink], ramp: Ramp, feed: PointFeed, outbox: Outbox
    ) -> None:
        assert start.course is not None
        assert start.permit is not None
        assert start.plan.change is not None
        self.plan = start.plan
        self.course: Course = start.course
        self.permit: PermitKeeper = start.permit
        self.rate_ppm = start.plan.change.after_ppm
        self._links = links
        self._ramp = ramp
        self._point_feed = feed
        self._outbox = outbox
        self._asked_ppm: int | None = None
        self._pending: RateChange | None = None
        self._before = start.plan.change
        self._confirm_us = 0
        self._worst_delay_us = 0
        self._measured_us: int | None = None
        self._noted: list[Status | None] = [None for _ in links]
        """By joint the status whose buffer margin was noted last."""

    def next_deadline(self) -> int | None:
        """When an override that is not confirmed must be withdrawn."""
        return self._pending.at_us - self._confirm_us if self._pending else None

    def override(self, rate_ppm: int) -> None:
        """Ask for another rate; it is issued as soon as all comply with the one before."""
        self._asked_ppm = rate_ppm

    @property
    def wanted_ppm(self) -> int:
        """The rate the operator wants, whether or not it is in force yet."""
        if self._asked_ppm is not None:
            return self._asked_ppm
        return self._pending.after_ppm if self._pending else self.rate_ppm

    def hold(self, now: int) -> None:
        """Lower the permit for all; it stands until the next start."""
        courses = self._courses()
        # What was measured for the turn may be of a moment ago.
        self.permit.hold(now, courses, slowest(self._links).quality.worst_delay_us)

    def keep_level(self, now: int) -> None:
        """While the arm holds: see that all rest where a joint does that is being lost."""
        permits = [self._permit_of(link) for link in self._links]
        if self.permit.keep_level(now, self._courses(), permits, self._point_feed.end_us):
            self._outbox.at_once = True

    def _courses(self) -> list[Course]:
        """By which joints may go: the change in force, and one that some may have by now."""
        if self._pending is None:
            return [self.course]
        return [self.course, Course.of(self._pending, self._ramp)]

    def step(self, now: int) -> str | None:
        """Renew what must be; a sentence when levelling begins, naming the joint."""
        self._measure(now)
        self._follow_override(now)
        permits = [self._permit_of(link) for link in self._links]
        if self.permit.renew(
            now, self.course, permits, self._point_feed.end_us, self._worst_delay_us
        ):
            return self._why_level(min(self._links, key=self._permit_of))
        rate = self.course.at(now)[1]
        for link in self._links:
            if self._noted[link.index] is link.status:
                continue
            self._noted[link.index] = link.status
            self._point_feed.note_buffer_margin(
                link, self.permit.offer_us, int(self._ramp.fall_path(rate))
            )
        return None

    def _measure(self, now: int) -> None:
        """The worst link delay of the slowest link. It changes slowly: once a turn is enough."""
        if self._measured_us is None or now - self._measured_us >= ACTIVE_INTERVAL_US:
            self._measured_us = now
            self._worst_delay_us = slowest(self._links).quality.worst_delay_us

    def _why_level(self, link: JointLink) -> str:
        """What a person should know of a joint whose permit could not be renewed."""
        status = link.status
        if link.in_state(JointState.RAMPING, JointState.HELD):
            return f"{link.name} {BY_ITSELF}"
        fall_us = self._ramp.fall_path(self.rate_ppm / PPM)
        if (
            status is not None
            and not self._point_feed.has_all(status.buffered_us)
            and status.permit_us is not None
            and status.permit_us + fall_us > status.buffered_us - 1
        ):
            if self._point_feed.waits:
                return (
                    f"moves behind path time {status.buffered_us} µs were not planned in time; "
                    "resume goes on once they are"
                )
            return (
                f"{link.name} has points up to path time {status.buffered_us} µs, "
                "no more than it needs to come to rest"
            )
        return f"{link.name} could not be reached in time to let it move on"

    def _permit_of(self, link: JointLink) -> int:
        """The permit a joint reports; a finished one no longer needs any."""
        status = link.status
        if status is not None and status.state is JointState.FINISHED:
            return max(self.permit.offer_us, self._point_feed.end_us or 0)
        if status is None or status.permit_us is None:
            return self.permit.floor_us
        return status.permit_us

    def _follow_override(self, now: int) -> None:
        all_comply = all(link.complies(self.plan) for link in self._links)
        if self._pending is not None:
            if all_comply:
                self._before = self._pending
                self.course = Course.of(self._pending, self._ramp)
                self.rate_ppm = self._pending.after_ppm
                self._pending = None
            elif now >= self._pending.at_us - self._confirm_us:
                # Withdrawn by a newer number that carries the change before.
                self._pending = None
                self.plan = Plan(self._outbox.plan_number(), self.plan.trajectory, 0, self._before)
                self._outbox.note(
                    now,
                    Level.ATTENTION,
                    "override-withdrawn",
                    "not all joints confirmed the new speed in time; the old one stands",
                )
        elif self._asked_ppm is not None and all_comply and now >= self.course.settled_us:
            self._issue(self._asked_ppm, now)

    def _issue(self, rate_ppm: int, now: int) -> None:
        self._asked_ppm = None
        worst_delay_us = self._worst_delay_us
        if rate_ppm == self.rate_ppm:
            return
        at_us = now + start_delay_us(worst_delay_us)
        self._confirm_us = confirm_us(worst_delay_us)
        path_us = round(self.course.at(at_us)[0])
        self._pending = RateChange(at_us, path_us, self.rate_ppm, rate_ppm)
        self.plan = Plan(self._outbox.plan_number(), self.plan.trajectory, 0, self._pending)
