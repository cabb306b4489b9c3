"""What a run was: its starts with the proof of their simultaneity, its end, joint by joint."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from itertools import permutations
from typing import Any

from coordinator.core.link import JointLink
from coordinator.stop_words import STOP_WORDS
from protocol.constants import PPM, RATE_MAX_PPM
from protocol.drive import StopLevel
from protocol.messages import Finished, Started

ROUNDING_US = 1
"""A joint tells its start in whole µs of its own time, which lie up to half of one beside it."""


@dataclass(slots=True)
class JointStart:
    """One joint at one start. Instants are arm time in µs."""

    slack_us: int | None = None
    clock_bound_us: float | None = None
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
    lead_us: int
    margin_us: int
    q_us: dict[str, int]
    at_us: int
    path_us: int
    joints: dict[str, JointStart] = field(default_factory=dict)
    part: int = 1
    """Of the program, from 1. The first start of a part is at path time 0, others are resumes."""

    def take(self, link: JointLink, event: Started) -> None:
        """A joint says when it started."""
        entry = self.joints[link.name]
        entry.slack_us = event.start_us - event.permission_us
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
        if entry.clock_epoch != link.clock_epoch:
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
        proved = entry.started_at_us is not None or entry.clock_bound_us is not None
        entry.earliest_us = entry.latest_us = entry.clock_bound_us = None
        return proved

    @property
    def complete(self) -> bool:
        """Whether every joint has said when it started."""
        return all(entry.started_at_us is not None for entry in self.joints.values())

    @property
    def spread_us(self) -> int | None:
        """Estimated time from the first joint's start to the last one's."""
        if not self.complete:
            return None
        instants = [entry.started_at_us or 0 for entry in self.joints.values()]
        return max(instants) - min(instants)

    @property
    def bound_us(self) -> int | None:
        """What the true spread cannot exceed: latest possible minus earliest possible start."""
        if not self.complete:
            return None
        entries = list(self.joints.values())
        apart = [
            (late.latest_us or 0) - (early.earliest_us or 0)
            for late, early in permutations(entries, 2)
        ]
        return max(apart, default=0)

    def to_json(self) -> dict[str, Any]:
        """The start as plain values."""
        return {
            "part": self.part,
            "attempts": self.attempts,
            "lead_us": self.lead_us,
            "margin_us": self.margin_us,
            "at_us": self.at_us,
            "path_us": self.path_us,
            "spread_us": self.spread_us,
            "bound_us": self.bound_us,
            "joints": {
                name: {
                    "q_us": self.q_us[name],
                    "slack_us": entry.slack_us,
                    "clock_bound_us": _rounded(entry.clock_bound_us),
                    "started_at_us": entry.started_at_us,
                    "earliest_us": entry.earliest_us,
                    "latest_us": entry.latest_us,
                }
                for name, entry in self.joints.items()
            },
        }


@dataclass(slots=True)
class Report:
    """One run from first to last."""

    run: int
    name: str
    joints: tuple[str, ...]
    began_us: int
    outcome: str = "playing"
    """playing finished held paused stopped faulted refused lost; `held` and `paused` while it can
    be resumed."""
    message: str = ""
    ended_us: int | None = None
    starts: list[StartRecord] = field(default_factory=list)
    partial_starts: int = 0
    holds: list[dict[str, Any]] = field(default_factory=list)
    overrides: list[dict[str, Any]] = field(default_factory=list)
    stop_level: StopLevel = StopLevel.NONE
    """Of the stop that ended it."""
    stop_unconfirmed: list[str] = field(default_factory=list)
    """Joints that have not said yet that they latched it. Once all have, a later stop is none of
    this run's."""
    finished_at_us: dict[str, int] = field(default_factory=dict)
    _finish_epoch: dict[str, int] = field(default_factory=dict)
    """Of the clock by which each of these was told."""
    feed_slack_us: dict[str, int] = field(default_factory=dict)
    grew: bool = False
    """Set by whatever changes it; unset by the machine above once it has told so."""

    @property
    def why(self) -> str:
        """Why it ended, or is held."""
        return self.message or self.outcome

    def turned(self, outcome: str, message: str = "") -> None:
        """The run has become this, because of that."""
        self.outcome, self.message = outcome, message
        self.grew = True

    def take(self, record: StartRecord, link: JointLink, event: Started) -> None:
        """A joint says when it began by a start, which may not be confirmed yet."""
        record.take(link, event)
        self.grew = True

    def began(self, record: StartRecord) -> None:
        """Every joint has confirmed a start."""
        self.starts.append(record)
        self.grew = True

    def partial(self) -> None:
        """Some joints began alone."""
        self.partial_starts += 1
        self.grew = True

    def goes_at(self, rate_ppm: int, now: int) -> None:
        """Keep the feed override in force where it is another than the one before."""
        percent = rate_ppm * 100 / PPM
        before = self.overrides[-1]["percent"] if self.overrides else RATE_MAX_PPM * 100 / PPM
        if percent != before:
            self.overrides.append({"at_us": now, "percent": percent})
            self.grew = True

    def held(self, cause: str, path_us: dict[str, int | None], apart_us: int, now: int) -> None:
        """The joints rest, at these path times where that is known."""
        self.holds.append({"at_us": now, "cause": cause, "path_us": path_us, "apart_us": apart_us})
        self.turned("held", cause)

    def stopping(self, links: Iterable[JointLink]) -> None:
        """To some joints the stop that ended it is carried still."""
        unconfirmed = [link.name for link in links if link.stop_wanted]
        if unconfirmed != self.stop_unconfirmed:
            self.stop_unconfirmed = unconfirmed
            self.grew = True

    def finished(self, link: JointLink, event: Finished) -> None:
        """A joint says when it reached a last point: nothing by a clock found anew since."""
        interval = link.clock.arm_interval(event.at_us)
        began = self.starts[-1].joints[link.name].clock_epoch if self.starts else None
        if interval is not None and began == link.clock_epoch:
            self.finished_at_us[link.name] = sum(interval) // 2
            self._finish_epoch[link.name] = link.clock_epoch
            self.grew = True

    def keep_slack(self, slack_us: dict[str, int]) -> None:
        """Keep the smallest feed slack of every part."""
        for name, slack in slack_us.items():
            self.feed_slack_us[name] = min(self.feed_slack_us.get(name, slack), slack)

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

    def to_json(self) -> dict[str, Any]:
        """The report as plain values; `start` is the run's first."""
        first = self.starts[0] if self.starts else None
        return {
            "run": self.run,
            "name": self.name,
            "outcome": self.outcome,
            "message": self.message,
            "began_at_us": self.began_us,
            "ended_at_us": self.ended_us,
            "start": first.to_json() if first else None,
            "starts": [start.to_json() for start in self.starts],
            "partial_starts": self.partial_starts,
            "holds": self.holds,
            "overrides": self.overrides,
            "stop_level": STOP_WORDS.get(self.stop_level),
            "stop_unconfirmed": self.stop_unconfirmed,
            "joints": [self._joint(name, first) for name in self.joints],
        }

    def _joint(self, name: str, first: StartRecord | None) -> dict[str, Any]:
        entry = first.joints[name] if first else JointStart()
        return {
            "name": name,
            "slack_us": entry.slack_us,
            "clock_bound_us": _rounded(entry.clock_bound_us),
            "started_at_us": entry.started_at_us,
            "finished_at_us": self.finished_at_us.get(name),
            "feed_slack_us": self.feed_slack_us.get(name),
        }


def _rounded(value: float | None) -> int | None:
    # Up, so that a bound stays one.
    return None if value is None else -int(-value // 1)
