"""What the joints of a virtual arm truly did, in degrees and seconds, whatever they report.

Times are seconds of the run: 0 is the instant at which its first joint began to move. Every
`require_…` raises AssertionError with a sentence that names joint, limit, value and time.
"""

import math
from typing import Final

from coordinator.config.joint import Joint
from coordinator.rehearsal.world import World
from coordinator.testing.recorder import Recorder, Sample
from coordinator.testing.run_time import RunTime

OVER_SPEED: Final = 0.01
"""A speed may be above its limit by this share: crystals differ, points are whole counts."""


class Truth:
    """The truth about one arm."""

    def __init__(self, world: World, recorder: Recorder, time: RunTime) -> None:
        self._world = world
        self._recorder = recorder
        self._time = time

    # ---- what is so -----------------------------------------------------------------------------

    def angle_deg(self, joint: str, *, at_s: float | None = None) -> float:
        """Where a joint's axis truly is, or was at that time of the run."""
        found = self._joint(joint)
        return found.to_degrees(self._at(joint, at_s)[0])

    def output_deg(self, joint: str) -> float:
        """Where a joint's output truly is now, behind the play of its reduction."""
        unit = self._world.node(joint).unit
        return self._joint(joint).to_degrees(unit.true_output(self._world.now))

    def speed_deg_s(self, joint: str, *, at_s: float | None = None) -> float:
        """How fast it truly turns, or did, to larger angles positive."""
        found = self._joint(joint)
        return found.to_degrees(self._at(joint, at_s)[1])

    def at_rest(self, *, at_s: float | None = None) -> bool:
        """Whether no joint truly moves, or moved."""
        return not self._moving(at_s)

    def range_deg(self, joint: str) -> tuple[float, float]:
        """The smallest and the largest angle at which it truly was since the run began."""
        found = self._joint(joint)
        angles = [found.to_degrees(one.position) for one in self._since_start(joint)]
        return min(angles), max(angles)

    def temperature_c(self, joint: str) -> float:
        """How warm its body truly is now, whatever its sensor says."""
        self._joint(joint)
        return self._world.node(joint).unit.temperature_c(self._world.now)

    @property
    def spread_us(self) -> float:
        """True time from the first joint's start to the last one's, at the last start or resume.

        Raises AssertionError where no joint started, or not all did.
        """
        starts = [
            (name, truth)
            for name, truth in self._recorder.events
            if truth.event in ("start", "resume")
        ]
        if not starts:
            raise AssertionError(f"no joint has started yet, {self._time.words()}")
        newest = max((truth for _, truth in starts), key=lambda truth: truth.at_ns)
        at_ns = {name: truth.at_ns for name, truth in starts if truth.plan == newest.plan}
        if missing := [joint.name for joint in self._world.arm.joints if joint.name not in at_ns]:
            at = self._time.words(newest.at_ns / 1_000)
            raise AssertionError(f"{', '.join(missing)} did not start with the others {at}")
        return (max(at_ns.values()) - min(at_ns.values())) / 1_000

    # ---- what must be so ------------------------------------------------------------------------

    def require_angle_deg(
        self, joint: str, expected_deg: float, *, within_deg: float, at_s: float | None = None
    ) -> None:
        """A joint is, or was, at an angle."""
        __tracebackhide__ = True
        angle_deg = self.angle_deg(joint, at_s=at_s)
        if not abs(angle_deg - expected_deg) <= within_deg:
            raise AssertionError(
                f"{joint} is at {angle_deg:.3f}° {self._words(at_s)}, "
                f"not within {within_deg:g}° of {expected_deg:g}°"
            )

    def require_at_rest(self, *, at_s: float | None = None) -> None:
        """No joint moves, or moved."""
        __tracebackhide__ = True
        if moving := self._moving(at_s):
            told = ", ".join(f"{name} turns at {by:.3f} °/s" for name, by in moving.items())
            raise AssertionError(f"{told} {self._words(at_s)}, but all joints must be at rest")

    def require_spread_us(self, *, at_most_us: float) -> None:
        """All joints began the last start or resume within this time."""
        __tracebackhide__ = True
        spread_us = self.spread_us
        if not spread_us <= at_most_us:
            raise AssertionError(
                f"the joints started {spread_us:.1f} µs apart, more than {at_most_us:g} µs, "
                f"as seen {self._time.words()}"
            )

    def require_within_limits(self) -> None:
        """Since the run began no joint left its range, or was faster than its limit and 1 %.

        Looked at every 20 ms.
        """
        __tracebackhide__ = True
        for joint in self._world.arm.joints:
            low_deg, high_deg = joint.range_deg or (-math.inf, math.inf)
            count_deg = 1 / abs(joint.counts_per_degree)
            for one in self._since_start(joint.name):
                angle_deg = joint.to_degrees(one.position)
                speed_deg_s = abs(joint.to_degrees(one.velocity))
                if not low_deg - count_deg <= angle_deg <= high_deg + count_deg:
                    raise AssertionError(
                        f"{joint.name} was at {angle_deg:.3f}° {self._time.words(one.at_us)}, "
                        f"outside its range {low_deg:g} to {high_deg:g}°"
                    )
                if speed_deg_s > joint.velocity_deg_s * (1 + OVER_SPEED):
                    raise AssertionError(
                        f"{joint.name} turned at {speed_deg_s:.2f} °/s "
                        f"{self._time.words(one.at_us)}, faster than its limit "
                        f"{joint.velocity_deg_s:g} °/s"
                    )

    # ---- inside ---------------------------------------------------------------------------------

    def _joint(self, name: str) -> Joint:
        return self._time.joint(name)

    def _at(self, joint: str, at_s: float | None) -> tuple[float, float]:
        self._recorder.look_at(self._world, self._world.node(joint))
        return self._recorder.at(joint, self._time.past_us(at_s))

    def _moving(self, at_s: float | None) -> dict[str, float]:
        speeds = {
            joint.name: self.speed_deg_s(joint.name, at_s=at_s) for joint in self._world.arm.joints
        }
        return {name: speed for name, speed in speeds.items() if speed}

    def _since_start(self, joint: str) -> list[Sample]:
        begun_us = self._time.past_us(0.0)
        self._recorder.look_at(self._world, self._world.node(joint))
        return [one for one in self._recorder.samples[joint] if one.at_us >= begun_us]

    def _words(self, at_s: float | None) -> str:
        return self._time.words(self._time.past_us(at_s))
