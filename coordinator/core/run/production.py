"""Figures of a run in loops: how many are done, how long they take, what held the slowest one up.

A loop takes from the end of the one before to its own end; the first one from the first start. What
held it up is what the run's phases and its speed were meanwhile: nothing is concluded from how long
it took. Nothing here grows with the number of loops.
"""

from dataclasses import dataclass, field, replace
from typing import Final

from coordinator.codes.delay import DelayKind
from coordinator.core.events import Because
from protocol.constants import PPM


@dataclass(frozen=True, slots=True)
class Delay:
    """What held a loop up, all in all."""

    kind: DelayKind
    why: str
    """By whom or for what, a clause; empty where the kind says it all."""
    lasted_us: int


@dataclass(frozen=True, slots=True)
class Cycle:
    """One loop that is done."""

    loop: int
    lasted_us: int
    delays: tuple[Delay, ...]
    """What held it up, longest first; empty where nothing did."""


@dataclass(frozen=True, slots=True)
class Interventions:
    """How often somebody or something interfered."""

    holds: int = 0
    """That people asked for."""
    takeovers: int = 0
    """Holds because somebody else took control."""
    other_holds: int = 0
    """Holds for any other reason: a joint that was not heard, a clock, the coordinator's end."""
    pauses: int = 0
    """Of the program, or for an input that did not come."""
    speed_changes: int = 0
    """Of the feed override, by people."""


@dataclass(frozen=True, slots=True)
class Production:
    """What became of the loops of a run so far."""

    done: int
    mean_us: int | None
    """Of the loops that are done; None before the first."""
    slowest: Cycle | None
    interventions: Interventions
    edges_mean_us: int | None = None
    """How much of `mean_us` were checks of home edges; None where there were none."""


MOST_CAUSES: Final = 20
"""Of one loop: what is beyond is told as one, so that a loop of a day does not grow on and on."""


@dataclass(slots=True)
class Cycles:
    """Follows a run from loop to loop."""

    done: int = 0
    total_us: int = 0
    first_us: int = 0
    """What the first loop took, before which no home edges are checked."""
    edges_us: int = 0
    """What the checks of home edges took, of the loops that are done."""
    slowest: Cycle | None = None
    interventions: Interventions = field(default_factory=Interventions)
    _began_us: int | None = None
    """When the loop in motion began; None before the first start."""
    _delays: dict[tuple[DelayKind, str], int] = field(default_factory=dict)
    _since: tuple[DelayKind, str, int] | None = None
    """What holds it up now, and since when."""
    _slow: tuple[int, float] | None = None
    """Arm and path time up to which a speed below 100 % is counted."""

    def begins(self, at_us: int) -> None:
        """The first start's instant."""
        if self._began_us is None:
            self._began_us = at_us
            self._delays.clear()

    def held_up(self, kind: DelayKind | None, why: str, now: int) -> None:
        """This holds the loop up from now on; None for nothing."""
        if self._since is not None:
            before, cause, since_us = self._since
            self._add(before, cause, now - since_us)
        self._since = None if kind is None else (kind, why, now)

    def starts(self, now: int) -> None:
        """A part is loaded and started from now on; what it waited for before counts on."""
        if self._since is None or self._since[0] is DelayKind.EDGES_CHECKED:
            self.held_up(DelayKind.STARTING, "", now)

    def goes(self, rate_ppm: int, path_us: float, now: int) -> None:
        """The arm moves along its path with that feed override in force."""
        if self._slow is not None:
            at_us, from_us = self._slow
            self._add(DelayKind.SPEED, "", round(now - at_us - (path_us - from_us)))
        self._slow = (now, path_us) if rate_ppm < PPM else None

    def rests(self) -> None:
        """The arm does not move along its path any more."""
        self._slow = None

    def ends(self, loop: int, now: int) -> bool:
        """Loops up to that one are over; whether that is news."""
        if loop <= self.done or self._began_us is None:
            return False
        if self._since is not None:
            self.held_up(self._since[0], self._since[1], now)
        lasted_us = (now - self._began_us) // (loop - self.done)
        if not self.done:
            self.first_us = lasted_us
        self.total_us += now - self._began_us
        self.edges_us += sum(
            spent_us
            for (kind, _), spent_us in self._delays.items()
            if kind is DelayKind.EDGES_CHECKED
        )
        self.done, self._began_us = loop, now
        if self.slowest is None or lasted_us > self.slowest.lasted_us:
            self.slowest = Cycle(loop, lasted_us, self._told())
        self._delays.clear()
        return True

    def held(self, because: str) -> None:
        """A hold began, because of that."""
        known = self.interventions
        match because:
            case Because.TAKEN_OVER:
                self._count(takeovers=known.takeovers + 1)
            case Because.OPERATOR:
                self._count(holds=known.holds + 1)
            case _:
                self._count(other_holds=known.other_holds + 1)

    def paused(self) -> None:
        """A pause began."""
        self._count(pauses=self.interventions.pauses + 1)

    def speed_changed(self) -> None:
        """Somebody asked for another speed."""
        self._count(speed_changes=self.interventions.speed_changes + 1)

    def told(self) -> Production:
        """What is known so far."""
        mean_us = round(self.total_us / self.done) if self.done else None
        edges_mean_us = round(self.edges_us / self.done) if self.edges_us else None
        return Production(self.done, mean_us, self.slowest, self.interventions, edges_mean_us)

    def to_go_us(self, number: int, now: int, *, check_edges: bool = False) -> int | None:
        """Until so many loops are done, by the mean of those that are; None before one is.

        Where home edges are checked the first loop, before which they are not, says nothing.
        """
        done = self.done - check_edges
        if done <= 0 or self._began_us is None:
            return None
        total_us = self.total_us - (self.first_us if check_edges else 0)
        return max(0, round((number - self.done) * total_us / done) - (now - self._began_us))

    def _add(self, kind: DelayKind, why: str, lasted_us: int) -> None:
        if lasted_us <= 0:
            return
        key = (kind, why)
        if key not in self._delays and len(self._delays) >= MOST_CAUSES:
            key = (kind, "and other causes")
        self._delays[key] = self._delays.get(key, 0) + lasted_us

    def _told(self) -> tuple[Delay, ...]:
        found = [Delay(kind, why, lasted_us) for (kind, why), lasted_us in self._delays.items()]
        return tuple(sorted(found, key=lambda one: -one.lasted_us))

    def _count(self, **changed: int) -> None:
        self.interventions = replace(self.interventions, **changed)
