"""Homing: fast to the sensor's edge, back off, slowly over both edges, go back to their middle.

The sensor is active near its middle, so the first edge met from outside is rising. A joint that
begins on the sensor first leaves it against the search direction. Coming to rest on the sensor is
what lets the next homing find it again after a restart, wherever in the range it sits. A joint that
has met its sensor since its restart may stand behind it: homing first goes back to where that was.
A sensor may bounce at its edges: what counts are passages, so the slow way ends so far behind the
second one that no change belongs to it any more.
No phase goes further than the configured travel from where homing began (design section 5.7).
"""

from enum import Enum
from typing import Final

from protocol.configuration import Configuration
from protocol.messages import MAX_EDGES, Edge
from protocol.middle import middle_of
from simulator.joint.edges import Passage, passage
from simulator.joint.motion import FreeMotion, brake, toward
from simulator.joint.passages import Passing, bounce


class Phase(Enum):
    """What homing is doing, as the words that complete "… did not end"."""

    LEAVE = "moving off the home sensor"
    CLEAR = "moving clear of the home sensor"
    SEARCH = "the search for the home sensor"
    OVERRUN = "braking behind the home sensor's edge"
    BACK_OFF = "backing off the home sensor"
    APPROACH = "the slow search for the home sensor"
    CROSS = "crossing the home sensor"
    SETTLE = "coming to rest behind the home sensor"
    RETURN = "going back to the middle of the home sensor"
    DONE = "homing"
    FAILED = "failed homing"


_FAST: Final = frozenset(
    {Phase.LEAVE, Phase.CLEAR, Phase.SEARCH, Phase.OVERRUN, Phase.BACK_OFF, Phase.RETURN}
)


class Homing:
    """One homing, from its begin to DONE or FAILED. Positions in the frame before homing."""

    def __init__(
        self,
        number: int,
        limits: Configuration,
        position: float,
        level: bool,
        now: float,
        met: float | None = None,
    ) -> None:
        self.number = number
        self.edges: list[Edge] = []
        self.passed: dict[Passage, float] = {}
        """Where each kind of passage was met last, in counts."""
        self.middle = 0
        """Of the two slow edges, once DONE."""
        self.failure = ""
        """A sentence, once FAILED."""
        self._settings = limits.homing
        self._meets_it_again = (
            limits.range_low is None and limits.homing.travel >= limits.counts_per_turn
        )
        """Whether a search finds the sensor from everywhere, also from behind it."""
        self._acceleration = float(limits.acceleration)
        self._low = position - self._settings.travel
        self._high = position + self._settings.travel
        self._level = level
        self.met = met
        """Where the sensor was met last in the search direction, or left: now or before."""
        self._before = dict(self.passed), met
        """What was kept before the newest passage."""
        self._edge = position if met is None else met
        """Where the edge of interest was met last."""
        self._slow_rising = 0
        self._slow_falling = 0
        self._bounce = bounce(limits)
        self._is_listed = False
        """Whether the newest passage is the last of `edges`."""
        if met is not None and not level:
            # It may stand behind the sensor, where the search would never find it.
            self.phase = Phase.CLEAR
            self.motion = self._back_off(position, 0.0, now)
            return
        self.phase = Phase.LEAVE if level else Phase.SEARCH
        speed = -self._settings.fast if level else self._settings.fast
        self.motion = self._go(speed, position, 0.0, now)

    def edge(self, rising: bool, passing: Passing, now: float) -> None:
        """The sensor's level changed, in this passage."""
        position, velocity = self.motion.at(now)
        self._level = rising
        self._list(rising, passing)
        if passing.begins:
            self._before = dict(self.passed), self.met
        else:
            self.passed, self.met = dict(self._before[0]), self._before[1]
        if passing.counts:
            if rising and velocity * self._settings.direction > 0.0:
                self.met = passing.place
            kind = passage(rising, velocity)
            if kind is not None:
                self.passed[kind] = passing.place
        if self.phase in (Phase.LEAVE, Phase.CLEAR) and not rising and passing.counts:
            # Going back to where it was met may pass it elsewhere: at another turn of a continuous
            # joint, or where steps were lost.
            self._edge = self.met = passing.place
            self.phase = Phase.CLEAR
            self.motion = self._back_off(position, velocity, now)
        elif self.phase is Phase.SEARCH and rising:
            self._edge = position
            self.phase = Phase.OVERRUN
            self.motion = brake(now, position, velocity, self._acceleration)
        elif self.phase in (Phase.APPROACH, Phase.CROSS, Phase.SETTLE) and passing.counts:
            self._slowly(rising, passing.place, position, velocity, now)

    def _list(self, rising: bool, passing: Passing) -> None:
        """One edge for each passage, and none for what was none."""
        if not passing.begins and self._is_listed:
            self.edges.pop()
        self._is_listed = passing.counts and len(self.edges) < MAX_EDGES
        if self._is_listed:
            fast = self.phase in _FAST
            self.edges.append(Edge(position=round(passing.place), rising=rising, fast=fast))

    def _slowly(
        self, rising: bool, place: float, position: float, velocity: float, now: float
    ) -> None:
        """A passage on the slow way over the sensor; a later one takes the place of its like."""
        if rising:
            self._slow_rising = round(place)
            if self.phase is Phase.SETTLE:
                self.motion = self._go(self._settings.slow, position, velocity, now)
            self.phase = Phase.CROSS
            return
        self._slow_falling = round(place)
        if self.phase is Phase.CROSS:
            self.phase = Phase.SETTLE
            goal = self._within(position + self._settings.direction * self._bounce)
            slow = float(self._settings.direction * self._settings.slow)
            self.motion = toward(now, position, velocity, slow, self._acceleration, goal, goal)

    def rested(self, now: float) -> None:
        """The motion of this phase came to rest."""
        position = self.motion.end_position
        if self.phase is Phase.CLEAR:
            self.phase = Phase.LEAVE if self._level else Phase.SEARCH
            speed = -self._settings.fast if self._level else self._settings.fast
            self.motion = self._go(speed, position, 0.0, now)
        elif self.phase is Phase.OVERRUN:
            self.phase = Phase.BACK_OFF
            self.motion = self._back_off(position, 0.0, now)
        elif self.phase is Phase.BACK_OFF and not self._level:
            self.phase = Phase.APPROACH
            self.motion = self._go(self._settings.slow, position, 0.0, now)
        elif self.phase is Phase.SETTLE and self._level:
            # It was inactive for a moment only, and still is active.
            self.phase = Phase.CROSS
            self.motion = self._go(self._settings.slow, position, 0.0, now)
        elif self.phase is Phase.SETTLE:
            self.middle = middle_of(self._slow_rising, self._slow_falling)
            self.phase = Phase.RETURN
            self.motion = self._to(self.middle, position, 0.0, now)
        elif self.phase is Phase.RETURN:
            self.phase = Phase.DONE
        else:
            self.failure = (
                f"{self.phase.value} did not end within {self._settings.travel} counts of travel "
                f"and {self._settings.backoff} counts of backing off"
            )
            self.phase = Phase.FAILED

    @property
    def met_before(self) -> float | None:
        """What `met` was before the newest passage, which may turn out to be none."""
        return self._before[1]

    def kept(self, now: float) -> float | None:
        """Where the next homing is to go back to, where this one ends before it is done.

        A search that is cut short behind that place has shown that the sensor is not there: where
        it cannot fail for having passed the sensor, the next one goes on from where it stands. Else
        a long search that is cut short again and again would never come further. The two changes
        of one edge lie less than `backoff` apart: backing off an edge leaves the sensor.
        """
        if self.phase is Phase.FAILED:
            return None  # it did not find the sensor where it was, or not whole
        if self.phase is Phase.SEARCH and self._meets_it_again and self.met is not None:
            beyond = (self.motion.at(now)[0] - self.met) * self._settings.direction
            if beyond > self._settings.backoff:
                return None
        return self.met

    def _go(self, speed: int, position: float, velocity: float, now: float) -> FreeMotion:
        target = float(speed * self._settings.direction)
        return toward(now, position, velocity, target, self._acceleration, self._low, self._high)

    def _back_off(self, position: float, velocity: float, now: float) -> FreeMotion:
        goal = self._within(self._edge - self._settings.direction * self._settings.backoff)
        return self._to(goal, position, velocity, now)

    def _within(self, goal: float) -> float:
        """As far as homing may go."""
        return min(max(goal, self._low), self._high)

    def _to(self, goal: float, position: float, velocity: float, now: float) -> FreeMotion:
        """Fast to a place that lies against the search direction, to rest there."""
        target = float(-self._settings.direction * self._settings.fast)
        return toward(now, position, velocity, target, self._acceleration, goal, goal)
