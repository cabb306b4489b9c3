"""The time by which tests of a virtual arm go: seconds of its newest run, from its true start."""

import math
from collections.abc import Callable
from typing import Final

from coordinator.client import WrongInput
from coordinator.codes.refusal import RefusalCode
from coordinator.config.joint import Joint
from coordinator.rehearsal.world import BEGIN_US, World
from protocol.constants import US

Happen = Callable[[], None]
LONGEST_S: Final = 1e6
"""Eleven days: more than anybody waits for."""


def duration_us(name: str, duration_s: float) -> int:
    """A duration in seconds as µs. Raises ValueError, naming it, for one that cannot be."""
    if not 0 <= duration_s <= LONGEST_S:
        raise ValueError(f"{name} is {duration_s:g} s, but must be 0 to {LONGEST_S:g} s")
    return round(duration_s * US)


class RunTime:
    """Knows when the newest run began, and lets things happen at times of it.

    All times are virtual. What is to happen in a run that has not begun waits for its start.
    """

    def __init__(self, world: World) -> None:
        self._world = world
        self._begun_us: float | None = None
        self._awaits = True
        """Whether the next start is that of a new run."""
        self._to_come: dict[str, tuple[float, Happen]] = {}
        """What has not happened yet: a sentence's beginning, and when."""

    @property
    def at_s(self) -> float | None:
        """Seconds since the newest run's first joint began to move; None before the first run."""
        return None if self._begun_us is None else (self._world.now - self._begun_us) / US

    @property
    def begun(self) -> bool:
        """Whether a joint has begun the newest run."""
        return not self._awaits

    def new_run(self) -> None:
        """A run was commanded: what comes next counts from its start."""
        self._awaits = True

    def started(self, true_us: float) -> None:
        """A joint began to move on its path."""
        if not self._awaits:
            return
        self._awaits = False
        self._begun_us = true_us
        for what, (at_s, _) in self._to_come.items():
            self._schedule(what, at_s)

    def happen(self, what: str, at_s: float | None, happen: Happen, *, goes_on: bool) -> None:
        """Let something happen now, or at a time of the run that goes on, or else of the next one.

        `what` begins a sentence: "elbow was to be lost". Raises ValueError for a time that is past.
        """
        if at_s is None:
            happen()
            return
        if not (math.isfinite(at_s) and at_s >= 0):
            raise ValueError(f"{what} at {at_s:g} s, but at_s must be 0 or more")
        if goes_on and self.begun and self.at_s is not None and at_s < self.at_s:
            raise ValueError(f"{what} at {at_s:g} s, but that is past {self.words()}")
        what = f"{what} at {at_s:g} s"
        self._to_come[what] = at_s, happen
        if goes_on and self.begun:
            self._schedule(what, at_s)

    def require_all_happened(self) -> None:
        """The run is over: raise AssertionError for what it ended before, and forget that."""
        missed = list(self._to_come)
        self._to_come.clear()
        if missed:
            raise AssertionError(f"{missed[0]}, but the run was over {self.words()}")

    def past_us(self, at_s: float | None) -> float:
        """True time of a time of the run, now for None. Raises AssertionError before its start,
        and for what is still to come.
        """
        if at_s is None:
            return float(self._world.now)
        if self._begun_us is None:
            raise AssertionError(f"{at_s:g} s of the run is asked for, but no run has started yet")
        true_us = self._begun_us + at_s * US
        if not self._begun_us <= true_us <= self._world.now:
            raise AssertionError(
                f"{at_s:g} s of the run is asked for, but it went to {self.at_s:.3f} s so far"
            )
        return true_us

    def words(self, true_us: float | None = None) -> str:
        """A true time, or now, for people."""
        at_us = self._world.now if true_us is None else true_us
        if self._begun_us is None or at_us < self._begun_us:
            return f"{(at_us - BEGIN_US) / US:.3f} s (virtual) after the arm was switched on"
        return f"at {(at_us - self._begun_us) / US:.3f} s (virtual) of the run"

    def joint(self, name: str) -> Joint:
        """A joint of the arm. Raises WrongInput where it has none of that name."""
        for joint in self._world.arm.joints:
            if joint.name == name:
                return joint
        known = " ".join(joint.name for joint in self._world.arm.joints)
        raise WrongInput(
            f"there is no joint {name!r}; this arm has {known}", code=RefusalCode.JOINT_UNKNOWN
        )

    def _schedule(self, what: str, at_s: float) -> None:
        assert self._begun_us is not None
        at_us = max(self._world.now, round(self._begun_us + at_s * US))
        self._world.at(at_us, self._happen, what)

    def _happen(self, what: str) -> None:
        to_come = self._to_come.pop(what, None)
        if to_come is not None:
            to_come[1]()
