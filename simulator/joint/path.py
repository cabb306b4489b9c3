"""Where a joint is on its path: the points, the course in force, the permit, what comes next.

Everything here is arm time and path time. Joints with the same numbers compute the same doubles,
so they agree to the last bit on where a permit ends, whatever their clocks (design section 5.1). At
rest a joint stands at a whole µs of path time: the step to it is far below a microstep.
"""

import math
from enum import Enum, auto

from protocol.constants import ADVANCE_RATE_PPM, PPM
from protocol.pathtime import Course, RateChange
from protocol.ramp import Ramp
from simulator.joint.buffer import PointBuffer


class Coming(Enum):
    """What happens next on the path. At the same instant, in this order."""

    SWITCH = auto()
    """An output point."""
    LAST = auto()
    """The last point."""
    PERMIT = auto()
    """The end of the permit."""
    CHANGE = auto()
    """The instant of an accepted rate change."""
    FALL = auto()
    """An advance must slow down to arrive."""
    REST = auto()
    """The end of a ramp, or of an advance."""


class Path:
    """One joint's place on its trajectory."""

    def __init__(self, capacity: int) -> None:
        self.buffer = PointBuffer(capacity)
        self.ramp = Ramp([(0, 0), (1, PPM)])
        """Replaced by `configure` before anything can be prepared."""
        self.clear()

    def clear(self) -> None:
        """Forget the trajectory and everything about it."""
        self.buffer.clear()
        self.stand_us = 0
        """Path time at rest."""
        self.course: Course | None = None
        """None at rest."""
        self.current: RateChange | None = None
        """The change it moves by."""
        self.pending: RateChange | None = None
        """The next change, accepted, its instant not yet come."""
        self.permit_us: int | None = None
        """As the newest drive gave it."""
        self.began_us: int | None = None
        """Path time at which the newest ramp to rest began, until the next arm."""
        self.goal_us: int | None = None
        """Where an advance goes, while it has not been told to ramp down."""
        self._goal_fall_us: float | None = None

    def at(self, arm_us: float) -> float:
        """Path time in µs at an arm time."""
        return float(self.stand_us) if self.course is None else self.course.at(arm_us)[0]

    def position(self, arm_us: float) -> tuple[float, float]:
        """Position (counts) and velocity (counts/s) at an arm time."""
        if self.course is None:
            return self.buffer.at(self.stand_us)[0], 0.0
        path_us, rate = self.course.at(arm_us)
        position, velocity = self.buffer.at(path_us)
        return position, velocity * rate

    def covers_end(self, permit_us: int) -> bool:
        """Whether a permit needs no ramp, because it reaches the last point."""
        return self.buffer.last is not None and permit_us >= self.buffer.last.time_us

    def effective_permit_us(self) -> int | None:
        """The permit, or less where the points do not reach a ramp further."""
        if self.permit_us is None or self.buffer.last is not None:
            return self.permit_us
        current, pending = self.current, self.pending
        if current is None and pending is None:
            fastest = PPM
        else:
            fastest = 0
            if current is not None:
                fastest = max(current.before_ppm, current.after_ppm)
            if pending is not None:
                fastest = max(fastest, pending.before_ppm, pending.after_ppm)
        return min(self.permit_us, self.room_us(fastest))

    def room_us(self, rate_ppm: int) -> int:
        """Path time from which the points in the buffer just hold a ramp from a rate."""
        return math.floor(self.buffer.buffered_us - self.ramp.fall_path(rate_ppm / PPM))

    def begin_change(self) -> None:
        """The pending change's instant has come."""
        assert self.pending is not None
        self.current, self.pending = self.pending, None
        self.course = Course.of(self.current, self.ramp)

    def begin_fall(self, arm_us: float, path_us: int | None = None) -> None:
        """Ramp to rest from an arm time on; `path_us` where the permit says it exactly."""
        assert self.course is not None
        self.began_us = round(self.course.at(arm_us)[0]) if path_us is None else path_us
        self.course = self.course.fall(arm_us, path_us)
        self.current = self.pending = self.permit_us = self.goal_us = None

    def begin_advance(self, arm_us: float, goal_us: int) -> None:
        """Go on along the path to `goal_us`, ahead of here, at the advance's rate."""
        rate = ADVANCE_RATE_PPM / PPM
        half_us = 0.5 * (goal_us - self.stand_us)
        if self.ramp.fall_path(rate) > half_us:
            rate = self.ramp.rate(self.ramp.time_of_path(half_us))
        self.course = Course(arm_us, self.stand_us, 0.0, rate, self.ramp)
        self.goal_us, self.began_us = goal_us, None
        self._goal_fall_us = goal_us - self.ramp.fall_path(rate)

    def begin_arrival(self, arm_us: float) -> None:
        """The advance slows down, to rest exactly at its goal."""
        assert self.course is not None
        self.course = self.course.fall(arm_us, self._goal_fall_us)
        self._goal_fall_us = None

    def come_to_rest(self, path_us: int) -> None:
        """Stand at a path time."""
        self.stand_us = path_us
        self.course = self.current = self.pending = self.permit_us = self.goal_us = None
        self._goal_fall_us = None

    def next(self) -> tuple[float, Coming] | None:
        """Arm time and kind of what comes next, if nothing new is said."""
        course = self.course
        if course is None:
            return (float(self.pending.at_us), Coming.CHANGE) if self.pending else None
        found: tuple[float, Coming] | None = None

        def consider(at_us: float | None, kind: Coming) -> None:
            nonlocal found
            if at_us is not None and (found is None or at_us < found[0]):
                found = at_us, kind

        if self.buffer.switches:
            consider(course.when(self.buffer.switches[0].time_us), Coming.SWITCH)
        if self.goal_us is not None:
            if self._goal_fall_us is not None:
                consider(course.when(self._goal_fall_us), Coming.FALL)
            else:
                consider(course.settled_us, Coming.REST)
            return found
        if self.buffer.last is not None:
            consider(course.when(self.buffer.last.time_us), Coming.LAST)
        if self.current is None:
            consider(course.settled_us, Coming.REST)
            return found
        permit_us = self.effective_permit_us()
        if permit_us is not None and not self.covers_end(permit_us):
            consider(course.when(permit_us), Coming.PERMIT)
        if self.pending is not None:
            consider(float(self.pending.at_us), Coming.CHANGE)
        return found
