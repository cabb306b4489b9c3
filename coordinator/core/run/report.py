"""What a run was: its starts with the proof of their simultaneity, its end, joint by joint."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import permutations
from typing import Final, TypeVar

from coordinator.codes.outcome import Outcome
from coordinator.core.link.link import JointLink
from coordinator.core.link.words import not_at_rest, not_reached
from coordinator.core.run.production import Cycles
from coordinator.programs import NO_SWITCHES, Switches
from coordinator.programs.loops import ONCE, Loops
from protocol.constants import PPM, RATE_MAX_PPM
from protocol.drive import StopLevel
from protocol.messages import Finished, Started

LINE_TOLD_US: Final = 2_000_000
"""A disk takes a report that often with ease, and nobody wants to look for a line longer back."""
ESTIMATE_LIMIT: Final = 100
"""So many times wider than the estimate, the guarantee makes it worthless as a figure."""
ESTIMATE_LEAST_US: Final = 10
"""An estimate below this is taken for this: what an interrupt's jitter makes."""
KEPT: Final = 100
"""So many first and so many last starts, holds and overrides are told: a report is written whole
each time it grows."""
ROUNDING_US: Final = 1
"""A joint tells its start in whole µs of its own time, which lie up to half of one beside it."""

T = TypeVar("T")


def start_numbers(kept: int, left_out: int) -> list[int]:
    """The number of each start that is told, from 1: those left out lie behind the first ones."""
    return [k if k <= KEPT else k + left_out for k in range(1, kept + 1)]


@dataclass(slots=True)
class JointStart:
    """One joint at one start. Instants are arm time in µs."""

    start_margin_us: int | None = None
    clock_uncertainty_us: float | None = None
    earliest_us: int | None = None
    latest_us: int | None = None
    start_joint_us: int | None = None
    clock_epoch: int = 0
    """Of the clock by which the joint was to start, from before the start was set."""
    confirmed: bool = False
    """Whether an exchange from after the start agreed with those before. Until then a step is not
    ruled out, and a joint that restarts hides it for ever."""

    @property
    def started_at_us(self) -> int | None:
        """Middle of what is proved about the instant."""
        if self.earliest_us is None or self.latest_us is None:
            return None
        return (self.earliest_us + self.latest_us) // 2


@dataclass(slots=True)
class StartRecord:
    """One start or resume of all joints."""

    plan: int
    attempts: int
    start_delay_us: int
    confirm_us: int
    worst_delay_us: dict[str, int]
    at_us: int
    path_us: int
    joints: dict[str, JointStart] = field(default_factory=dict)
    part: int = 1
    """Of the program, from 1. The first start of a part is at path time 0, others are resumes."""

    def take(self, link: JointLink, event: Started) -> None:
        """A joint says when it started."""
        entry = self.joints[link.name]
        entry.start_margin_us = event.start_us - event.permission_us
        entry.start_joint_us = event.start_us
        self.convert(link)

    def convert(self, link: JointLink) -> None:
        """Bring a joint's start into arm time with the limits known now, keeping the tighter.

        A joint time from before the clock was found anew says nothing: it stays unproved, even
        where the joint's report of it comes later. What was proved is so no more where that clock
        ended before anything confirmed it: it may have been wrong at the start already.
        """
        entry = self.joints[link.name]
        if entry.start_joint_us is None:
            return
        if entry.clock_epoch != link.sync.clock_epoch:
            if not entry.confirmed:
                entry.earliest_us = entry.latest_us = None
            return
        agreed_us = link.clock.agreed_joint_us
        entry.confirmed |= agreed_us is not None and agreed_us > entry.start_joint_us
        earlier = link.clock.arm_interval(entry.start_joint_us - ROUNDING_US)
        later = link.clock.arm_interval(entry.start_joint_us + ROUNDING_US)
        if earlier is None or later is None:
            return
        low, high = earlier[0], later[1]
        if entry.earliest_us is None or entry.latest_us is None:
            entry.earliest_us, entry.latest_us = low, high
        elif max(low, entry.earliest_us) <= min(high, entry.latest_us):
            entry.earliest_us = max(low, entry.earliest_us)
            entry.latest_us = min(high, entry.latest_us)

    def take_back(self, name: str, since: int) -> bool:
        """A joint's clock of this epoch and later was wrong; True if something rested on it."""
        entry = self.joints[name]
        if entry.clock_epoch < since:
            return False
        proved = entry.started_at_us is not None or entry.clock_uncertainty_us is not None
        entry.earliest_us = entry.latest_us = entry.clock_uncertainty_us = None
        return proved

    @property
    def complete(self) -> bool:
        """Whether every joint has said when it started."""
        return all(entry.started_at_us is not None for entry in self.joints.values())

    @property
    def start_skew_us(self) -> int | None:
        """Estimated time from the first joint's start to the last one's.

        None where what is proved is so much wider that the estimate says nothing: delays that are
        longer one way than the other deceive it by up to as much.
        """
        start_skew_max_us = self.start_skew_max_us
        if start_skew_max_us is None:
            return None
        instants = [entry.started_at_us or 0 for entry in self.joints.values()]
        apart_us = max(instants) - min(instants)
        telling = start_skew_max_us <= ESTIMATE_LIMIT * max(apart_us, ESTIMATE_LEAST_US)
        return apart_us if telling else None

    @property
    def start_skew_max_us(self) -> int | None:
        """What the true start skew cannot exceed: latest possible minus earliest possible start."""
        if not self.complete:
            return None
        entries = list(self.joints.values())
        apart = [
            (late.latest_us or 0) - (early.earliest_us or 0)
            for late, early in permutations(entries, 2)
        ]
        return max(apart, default=0)


@dataclass(frozen=True, slots=True)
class HoldRecord:
    """A hold after which all joints rested."""

    at_us: int
    """Arm time."""
    cause: str
    path_us: dict[str, int | None]
    """Path time at which each joint rests."""
    apart_us: int
    """Largest difference between these."""
    unconfirmed: tuple[str, ...]
    """Joints that had not confirmed that they rest."""
    rests_by_us: int | None
    """By when these were at rest by their own rules, arm time; None for none."""


@dataclass(frozen=True, slots=True)
class OverrideRecord:
    """From when the speed was another one."""

    at_us: int
    """Arm time."""
    percent: float


@dataclass(slots=True)
class Report:
    """One run from first to last."""

    run: int
    name: str
    joints: tuple[str, ...]
    began_us: int
    loops: Loops = ONCE
    """How often its program was to be played."""
    switches: Switches = NO_SWITCHES
    """With which it was read."""
    outcome: Outcome = Outcome.PLAYING
    """`held` and `paused` while it can be resumed."""
    message: str = ""
    ended_us: int | None = None
    line: int | None = None
    """Of the program, in which it was last; None before the first start."""
    starts: list[StartRecord] = field(default_factory=list)
    partial_starts: int = 0
    holds: list[HoldRecord] = field(default_factory=list)
    overrides: list[OverrideRecord] = field(default_factory=list)
    stop_level: StopLevel = StopLevel.NONE
    """Of the stop that ended it."""
    stop_unconfirmed: list[str] = field(default_factory=list)
    """Joints that have not said yet that they latched it. Once all have, a later stop is none of
    this run's."""
    stop_late: list[str] = field(default_factory=list)
    """Those of them that are late with that."""
    rest_unconfirmed: tuple[str, ...] = ()
    """While it is held: joints that have not said that they rest."""
    finished_at_us: dict[str, int] = field(default_factory=dict)
    _finish_epoch: dict[str, int] = field(default_factory=dict)
    """Of the clock by which each of these was told."""
    buffer_margin_us: dict[str, int] = field(default_factory=dict)
    starts_left_out: int = 0
    """How many of `starts` are not there, of those behind the first ones."""
    holds_left_out: int = 0
    """The same of `holds`."""
    overrides_left_out: int = 0
    """The same of `overrides`."""
    cycles: Cycles = field(default_factory=Cycles)
    """What became of its loops."""
    edges_passed: dict[str, int] = field(default_factory=dict)
    """How often the home edge of each joint was passed between loops and was where it should be."""
    edges_unconfirmed: dict[str, int] = field(default_factory=dict)
    """How often nobody could see whether it was."""
    hottest_centi_c: dict[str, int] = field(default_factory=dict)
    """The highest temperature that each joint told while it went on, where that is believed."""
    firmware: dict[str, str] = field(default_factory=dict)
    """What each joint said that it runs as the run began."""
    _told_line: int | None = None
    _told_line_us: int = 0
    """When that was told last."""
    grew: bool = False
    """Set by whatever changes it; unset by the machine above once it has told so."""

    @property
    def told(self) -> str:
        """Its message for people: what is not confirmed comes first."""
        parts = []
        if self.stop_late:
            parts.append(not_reached(self.stop_late))
        if self.rest_unconfirmed:
            parts.append(not_at_rest(self.rest_unconfirmed))
        return "; ".join([*parts, self.message] if self.message else parts)

    @property
    def why(self) -> str:
        """Why it ended, or is held."""
        return self.told or self.outcome

    def is_in(self, line: int, now: int) -> None:
        """Keep the line that it is in. Told now and then, so that it outlives a crash."""
        self.line = line
        if line != self._told_line and now - self._told_line_us >= LINE_TOLD_US:
            self._told_line, self._told_line_us, self.grew = line, now, True

    def turned(self, outcome: Outcome, message: str = "") -> None:
        """The run has become this, because of that."""
        self.outcome, self.message = outcome, message
        self.rest_unconfirmed = ()
        self.grew = True

    def take(self, record: StartRecord, link: JointLink, event: Started) -> None:
        """A joint says when it began by a start, which may not be confirmed yet."""
        record.take(link, event)
        self.grew = True

    def began(self, record: StartRecord) -> None:
        """Every joint has confirmed a start."""
        self.starts_left_out += _keep(self.starts, record)
        self.cycles.begins(record.at_us)
        self.grew = True

    def edges_checked(self, passed: Iterable[str], unconfirmed: Iterable[str]) -> None:
        """Joints passed their home edges between two loops; of some nobody saw it."""
        for names, counts in ((passed, self.edges_passed), (unconfirmed, self.edges_unconfirmed)):
            for name in names:
                counts[name] = counts.get(name, 0) + 1
        self.grew = True

    def partial(self) -> None:
        """Some joints began alone."""
        self.partial_starts += 1
        self.grew = True

    def goes_at(self, rate_ppm: int, now: int) -> None:
        """Keep the feed override in force where it is another than the one before."""
        percent = rate_ppm * 100 / PPM
        before = self.overrides[-1].percent if self.overrides else RATE_MAX_PPM * 100 / PPM
        if percent != before:
            self.overrides_left_out += _keep(self.overrides, OverrideRecord(now, percent))
            self.grew = True

    def held(self, hold: HoldRecord) -> None:
        """The joints rest, as far as they say so."""
        self.holds_left_out += _keep(self.holds, hold)
        self.turned(Outcome.HELD, hold.cause)
        self.rest_unconfirmed = hold.unconfirmed

    def rest_awaited(self, names: tuple[str, ...]) -> None:
        """Of a run that is held: these joints have not said yet that they rest."""
        if names != self.rest_unconfirmed:
            self.rest_unconfirmed = names
            self.grew = True

    def stopping(self, links: Sequence[JointLink], now: int) -> None:
        """To some joints the stop that ended it is carried still."""
        unconfirmed = [link.name for link in links if link.orders.stop_wanted]
        late = [link.name for link in links if link.orders.stop_is_late(now)]
        if (unconfirmed, late) != (self.stop_unconfirmed, self.stop_late):
            self.stop_unconfirmed, self.stop_late = unconfirmed, late
            self.grew = True

    def finished(self, link: JointLink, event: Finished) -> None:
        """A joint says when it reached a last point: nothing by a clock found anew since."""
        interval = link.clock.arm_interval(event.at_us)
        began = self.starts[-1].joints[link.name].clock_epoch if self.starts else None
        if interval is not None and began == link.sync.clock_epoch:
            self.finished_at_us[link.name] = sum(interval) // 2
            self._finish_epoch[link.name] = link.sync.clock_epoch
            self.grew = True

    def keep_buffer_margin(self, buffer_margin_us: dict[str, int]) -> None:
        """Keep the smallest buffer margin of every part."""
        for name, margin in buffer_margin_us.items():
            self.buffer_margin_us[name] = min(self.buffer_margin_us.get(name, margin), margin)

    def warmed(self, name: str, centi_c: int) -> None:
        """A joint told its temperature. It is written with whatever comes next."""
        self.hottest_centi_c[name] = max(self.hottest_centi_c.get(name, centi_c), centi_c)

    def settle(self, links: Iterable[JointLink]) -> None:
        """Use what the clocks have learned since: to tighten the last start, or to doubt one."""
        if not self.starts:
            return
        for link in links:
            self.starts[-1].convert(link)
            for start in self.starts[:-1]:
                if not start.joints[link.name].confirmed:
                    start.convert(link)
        self.grew = True

    def take_back(self, name: str, since: int) -> int:
        """A joint's clock of this epoch and later was wrong; how many starts rested on it."""
        if self._finish_epoch.get(name, -1) >= since:
            self.finished_at_us.pop(name, None)
        return sum(start.take_back(name, since) for start in self.starts)


def _keep(records: list[T], record: T) -> int:
    """Keep a record as the last one; how many in the middle are left out for it."""
    records.append(record)
    if len(records) <= 2 * KEPT:
        return 0
    del records[KEPT]
    return 1
