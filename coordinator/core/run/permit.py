"""The permit: how far along the path every joint may move before it must hear again.

Design sections 5.1 and 5.2. The offer to all is min(floor + window, where path time will be at now
+ horizon), raised once it is a step behind that, and lowered only where it would last beyond the
longest horizon. So after a change to a slower speed, or of a link for the better, what was offered
before may last longer, and reach further beyond the floor, than what would be offered now, but
never beyond the longest horizon or the widest window. The floor is the lowest permit that any joint
reports. When it is short of the last point and will be used up soon, one joint is being lost: the
floor itself is offered to all, so that the arm stops level, and rises no more until the next start.
So it is too when a joint is lost that has not heard of a hold.
"""

from collections.abc import Iterable, Sequence
from typing import Final

from coordinator.timing.start_delay import ECHO_MIN_US
from protocol.constants import FIRST_PERMIT_US
from protocol.pathtime import Course

WINDOW_MIN_US: Final = 100_000
WINDOW_MAX_US: Final = 400_000
HORIZON_MIN_US: Final = 600_000
"""A coordinator on a busy laptop may stand still for a quarter of a second, and need not hold."""
HORIZON_MAX_US: Final = 1_100_000
HORIZON_OVER_DELAY_US: Final = 500_000
"""What a renewal needs beyond the exchange itself: the step, levelling and several sends. With 0.1
s less of both, busy links had 0.1 holds a minute for nothing and hostile ones 1.4, instead of 0.03
and 0.6 (tests/bench/README.md)."""
STEP_US: Final = 100_000
"""Arm time by which the offer falls behind before it is raised. While a new one is on its way to a
joint that is lost just then, nobody can tell whether it has it; so that must be rare."""
LEVELLING_US: Final = 180_000
"""Arm time left on the floor at which levelling begins: all others must still hear of it. On the
worst simulated link one in four outages left some that had not with 150 ms, one in five with this;
with more the holds grow that nothing but a slow answer causes."""


class PermitKeeper:
    """The offer from one start to the next rest."""

    def __init__(self, stand_us: int) -> None:
        self.offer_us = self._first_us = stand_us + FIRST_PERMIT_US
        self.floor_us = self.offer_us
        self.fixed = False
        """True once a hold or levelling has set the offer: until the next start it only falls."""

    def renew(
        self,
        now: int,
        course: Course,
        permits: Sequence[int],
        end_us: int | None,
        worst_delay_us: int,
    ) -> bool:
        """Work out the offer at `now`; True when levelling begins with it.

        `permits` are what the joints report, `end_us` the path time of the last point when it is
        known, `worst_delay_us` the worst link delay of the slowest link.
        """
        if self.fixed:
            return False
        self.floor_us = min(permits)
        left_us = self._left_us(now, course, end_us)
        if left_us is not None and left_us < LEVELLING_US:
            self.level()
            return True
        window = min(max(worst_delay_us, WINDOW_MIN_US), WINDOW_MAX_US)
        horizon = min(max(HORIZON_OVER_DELAY_US + worst_delay_us, HORIZON_MIN_US), HORIZON_MAX_US)
        reach = int(course.at(now + horizon)[0])
        # A start may be confirmed so early that the horizon ends before its instant.
        offer_us = max(min(self.floor_us + window, reach), self._first_us)
        used_up = course.when(self.offer_us)
        if used_up is None or used_up - now > HORIZON_MAX_US:
            self.offer_us = offer_us  # the arm is to be slower than when it was made
        elif used_up - now <= horizon - STEP_US:
            # A better link is no reason to take back what some joints may have and others not.
            self.offer_us = max(self.offer_us, offer_us)
        return False

    def _left_us(self, now: int, course: Course, end_us: int | None) -> float | None:
        """Until the floor is used up; None where it needs no renewal."""
        if end_us is not None and self.floor_us >= end_us:
            return None
        used_up = course.when(self.floor_us)
        return None if used_up is None else used_up - now

    def keep_level(
        self, now: int, courses: Iterable[Course], permits: Sequence[int], end_us: int | None
    ) -> bool:
        """While the arm holds: True when the offer is lowered to a permit that ends before it.

        Whoever has that did not hear of the offer in time, and stops there: so can the others.
        """
        self.floor_us = min(permits)
        # By whichever of the courses uses it up first.
        found = [self._left_us(now, course, end_us) for course in courses]
        left_us = min((left_us for left_us in found if left_us is not None), default=None)
        if self.floor_us >= self.offer_us or left_us is None or not 0 < left_us < LEVELLING_US:
            return False
        self.offer_us = self.floor_us
        return True

    def level(self) -> None:
        """Offer all what the joint that is being lost has: it stops there, and so can they."""
        if not self.fixed:
            self.offer_us = self.floor_us
            self.fixed = True

    def hold(self, now: int, courses: Iterable[Course], worst_delay_us: int) -> None:
        """Lower the offer to where path time will be when all have heard of it.

        `courses` are those that joints may be on by then: the slowest counts, as it would take the
        others' path time long to be reached by it.
        """
        if not self.fixed:
            heard_us = now + max(1.5 * worst_delay_us, ECHO_MIN_US)
            self.offer_us = min(self.offer_us, *(int(one.at(heard_us)[0]) for one in courses))
            self.fixed = True
