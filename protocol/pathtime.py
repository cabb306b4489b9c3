"""The law of path time: how far along its path the arm is at an arm time (design section 5).

Path time changes its rate in one way only, by a *rate change*: from an instant on, the rate goes
from one value to another along the ramp and then stays. A start, a resume, a feed override and
the fall to rest at the end of a permit are all rate changes. Every joint evaluates the same
numbers, so all agree to the rounding of a double.
"""

from dataclasses import dataclass

from protocol.constants import PPM
from protocol.ramp import Ramp


@dataclass(frozen=True, slots=True)
class RateChange:
    """At arm time `at_us` and path time `path_us` the rate begins to change, in ppm."""

    at_us: int
    path_us: int
    before_ppm: int
    after_ppm: int


class Course:
    """One rate change, laid along the ramp: path time and rate as functions of arm time.

    All times are µs as floats, rates 0 to 1.
    """

    __slots__ = (
        "_time_a",
        "after",
        "at_us",
        "before",
        "path_us",
        "ramp",
        "settled_path_us",
        "settled_us",
    )

    def __init__(
        self, at_us: float, path_us: float, before: float, after: float, ramp: Ramp
    ) -> None:
        self.at_us = at_us
        self.path_us = path_us
        self.before = before
        self.after = after
        self.ramp = ramp
        self._time_a = ramp.time(before)
        self.settled_us = at_us + abs(ramp.time(after) - self._time_a)
        """Arm time from which the rate is `after`."""
        self.settled_path_us = path_us + abs(ramp.fall_path(after) - ramp.path(self._time_a))
        """Path time at that instant."""

    @classmethod
    def of(cls, change: RateChange, ramp: Ramp) -> "Course":
        """The course that a rate change from the wire lays down."""
        return cls(
            change.at_us,
            change.path_us,
            change.before_ppm / PPM,
            change.after_ppm / PPM,
            ramp,
        )

    def fall(self, arm_us: float, path_us: float | None = None) -> "Course":
        """The course that leaves this one at an arm time and ramps to rest.

        Give `path_us` where it is known exactly (the end of a permit), so that all joints that
        obey the same permit come to rest at the same path time.
        """
        here, rate = self.at(arm_us)
        return Course(arm_us, here if path_us is None else path_us, rate, 0.0, self.ramp)

    def at(self, arm_us: float) -> tuple[float, float]:
        """Path time and rate at an arm time; before the change the old rate holds."""
        elapsed = arm_us - self.at_us
        if elapsed <= 0.0:
            return self.path_us + elapsed * self.before, self.before
        if arm_us >= self.settled_us:
            return self.settled_path_us + (arm_us - self.settled_us) * self.after, self.after
        ramp = self.ramp
        if self.after > self.before:
            time = self._time_a + elapsed
            return self.path_us + ramp.path(time) - ramp.path(self._time_a), ramp.rate(time)
        time = self._time_a - elapsed
        return self.path_us + ramp.path(self._time_a) - ramp.path(time), ramp.rate(time)

    def when(self, path_us: float) -> float | None:
        """Arm time at which a path time is reached, None if this course never gets there.

        A course that ends at rest exactly there reaches it when it comes to rest.
        """
        ahead = path_us - self.path_us
        if ahead <= 0.0:
            if self.before > 0.0:
                return self.at_us + ahead / self.before
            return self.at_us if ahead == 0.0 else None
        if path_us > self.settled_path_us:
            if self.after <= 0.0:
                return None
            return self.settled_us + (path_us - self.settled_path_us) / self.after
        ramp = self.ramp
        start = ramp.path(self._time_a)
        if self.after > self.before:
            return self.at_us + ramp.time_of_path(start + ahead) - self._time_a
        return self.at_us + self._time_a - ramp.time_of_path(start - ahead)
