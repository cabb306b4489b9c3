"""Random but plausible treatment of a joint: steps that are read against what it says of itself."""

from collections.abc import Callable
from dataclasses import replace

from hypothesis import strategies as st

from protocol.clockmap import ClockMap
from protocol.constants import PPM
from protocol.drive import Drive, Mode, Plan, StopLevel
from protocol.messages import Clear, Discard, Prepare
from protocol.pathtime import Course, RateChange
from protocol.points import PointsFrame
from protocol.status import Fault, Status
from tests.simulator.joint.rig import RAMP, SESSION, VELOCITY, Rig, go, there_and_back

WAITS_US = (0, 1, 1_000, 20_000, 40_000, 40_000, 130_000, 400_000, 1_300_000)
KINDS = {
    "renew": 5, "arm": 1, "go": 3, "override": 2, "withdraw": 1, "preview": 1, "none": 1, "jog": 2,
    "home": 2, "stop": 1, "load": 2, "points": 1, "remap": 1, "hall": 2, "sense": 1, "clear": 2,
    "discard": 1, "fault": 1, "wild": 1,
}  # fmt: skip
"""Kinds of step, and how often each."""

Step = tuple[str, int, int]
steps = st.lists(
    st.tuples(
        st.sampled_from([kind for kind, often in KINDS.items() for _ in range(often)]),
        st.integers(0, 10**6),
        st.sampled_from(WAITS_US),
    ),
    max_size=40,
)
number = st.integers(-(2**63), 2**63 - 1)
wild_drives = st.builds(
    Drive,
    session=st.just(SESSION),
    sequence=st.just(0),
    mode=st.sampled_from(Mode),
    energise=st.booleans(),
    output_mask=st.integers(0, 255),
    output_values=st.integers(0, 255),
    clock_map=st.none()
    | st.builds(ClockMap, st.integers(0, 2**32 - 1), number, number, st.integers(-(10**6), 10**6)),
    plan=st.none()
    | st.builds(
        Plan,
        st.integers(0, 2**32 - 1),
        st.sampled_from([0, 5]),
        number,
        st.none() | st.builds(RateChange, number, number, st.integers(0, PPM), st.integers(0, PPM)),
    ),
    permit_us=st.none() | number,
    jog_velocity=st.integers(-(2**31), 2**31 - 1),
    expiry_us=st.none() | number,
    homing_number=st.integers(0, 3),
)


class Scripted:
    """Plays steps on a rig. `watch` is called with every joint time on the way."""

    def __init__(
        self,
        rig: Rig,
        begin_us: int,
        wild: Drive,
        *,
        watch: Callable[[float], object],
        every_us: int,
    ) -> None:
        self.rig = rig
        self.now = begin_us
        self.statuses: list[Status | None] = []
        self._strange = wild
        self._watch = watch
        self._every_us = every_us
        self._number = 10
        self._trajectory = 5
        self._plan = Plan(10, 5, 0)
        self._permit_us: int | None = None
        self._homing = 5
        self._clock_map = rig.map

    def play(self, script: list[Step]) -> None:
        for kind, amount, wait_us in script:
            getattr(self, f"_{kind}")(amount)
            end_us = self.now + wait_us
            while self.now + self._every_us < end_us:
                self.now += self._every_us
                self._watch(self.rig.now(self.now))
            self.now = end_us
            self._watch(self.rig.now(self.now))
        self.statuses.append(self.rig.status(self.now))

    def _drive(self, **fields: object) -> None:
        self.statuses.append(self.rig.drive(self.now, clock_map=self._clock_map, **fields))

    def _send_plan(self) -> None:
        self._drive(
            mode=Mode.PATH,
            plan=self._plan,
            permit_us=self._permit_us,
            expiry_us=self.now + 250_000,
        )

    def _path_us(self) -> int:
        return self.rig.status(self.now).path_us

    def _next_plan(self, stand_us: int, change: RateChange | None = None) -> None:
        self._number += 1
        self._plan = Plan(self._number, self._trajectory, stand_us, change)
        self._send_plan()

    def _renew(self, amount: int) -> None:
        if self._plan.change is not None:
            ahead_us = (50_000, 700_000, 700_000, 9_000_000)[amount % 4]
            self._permit_us = self._path_us() + ahead_us
        self._send_plan()

    def _arm(self, amount: int) -> None:
        self._permit_us = None
        self._next_plan(self._path_us())

    def _preview(self, amount: int) -> None:
        self._permit_us = None
        self._next_plan(self._path_us() + amount % 90_000)

    def _go(self, amount: int) -> None:
        here_us = self._path_us()
        self._arm(0)
        rate = max(50_000, amount)
        at_us = self.now + (100_000 if amount % 5 else 0)
        change = go(0, at_us, here_us, rate).change
        self._permit_us = here_us + (100_000, 1_000_000, 9_000_000)[amount % 3]
        self._next_plan(here_us, change)

    def _override(self, amount: int) -> None:
        old = self._plan.change
        if old is None:
            return
        at_us = self.now + 1_000 + amount % 200_000
        path_us = round(Course.of(old, RAMP).at(at_us)[0])
        rate = max(50_000, amount)
        change = RateChange(at_us, path_us, old.after_ppm, rate)
        self._next_plan(self._plan.stand_us, change)

    def _withdraw(self, amount: int) -> None:
        self._next_plan(self._plan.stand_us)

    def _none(self, amount: int) -> None:
        self._drive()

    def _jog(self, amount: int) -> None:
        velocity = (amount - 500_000) * 4 * VELOCITY // 1_000_000
        self._drive(mode=Mode.JOG, jog_velocity=velocity, expiry_us=self.now + 250_000)

    def _home(self, amount: int) -> None:
        self._homing += amount % 3 == 0
        self._drive(mode=Mode.HOME, homing_number=self._homing, expiry_us=self.now + 250_000)

    def _stop(self, amount: int) -> None:
        self._drive(stop=StopLevel.STOP if amount % 2 else StopLevel.STOP_AND_RELEASE)

    def _load(self, amount: int) -> None:
        joint, now = self.rig.joint, self.rig.now(self.now)
        self._discard(0)
        self._trajectory += 1
        points = there_and_back(self.rig.status(self.now).position, degrees=amount % 60)
        joint.points(PointsFrame(self._trajectory, 0, tuple(points[: 2 + amount % 2])), now)
        joint.request(Prepare(trajectory=self._trajectory), now)

    def _points(self, amount: int) -> None:
        points = there_and_back(self.rig.status(self.now).position, degrees=amount % 60, repeat=3)
        frame = PointsFrame(self._trajectory, 2, tuple(points[2:]))
        self.rig.joint.points(frame, self.rig.now(self.now))

    def _remap(self, amount: int) -> None:
        """A newer map, some µs off the one before, within what a crystal does and a little more."""
        old = self._clock_map
        shift_us = (amount % 3 - 1) * (50, 2_000, 4_900, 6_000)[amount % 4]
        joint_us = round(old.to_joint(self.now)) + shift_us
        rate_ppb = (0, 100_000, -300_000, 900_000)[amount % 4]
        self._clock_map = ClockMap(old.number + 1, self.now, joint_us, rate_ppb)
        self._send_plan()

    def _hall(self, amount: int) -> None:
        self.rig.joint.hall(amount % 2 == 0, self.rig.now(self.now))

    def _sense(self, amount: int) -> None:
        hot = 6_100 if amount % 10 == 0 else 3_000
        self.rig.joint.sense(hot, 24_000, self.rig.now(self.now))

    def _clear(self, amount: int) -> None:
        self._drive()
        self.rig.joint.request(Clear(), self.rig.now(self.now))

    def _discard(self, amount: int) -> None:
        self.rig.joint.request(Discard(), self.rig.now(self.now))

    def _fault(self, amount: int) -> None:
        self.rig.joint.fault(Fault.STEPS_LOST, self.rig.now(self.now))

    def _wild(self, amount: int) -> None:
        self.rig.sequence += 1
        drive = replace(self._strange, sequence=self.rig.sequence)
        self.statuses.append(self.rig.joint.drive(drive, self.rig.now(self.now)))
