"""Small, slow paths to play, and the run of one up to a state."""

import math
from dataclasses import dataclass, replace

from coordinator.conform.bench import Bench
from coordinator.conform.check import Blocked, Wrong
from coordinator.conform.talk import LEASE_US, Fields, told
from coordinator.links.clock import arm_now_us
from protocol.constants import FIRST_PERMIT_US
from protocol.drive import Mode, Plan
from protocol.messages import Prepare
from protocol.pathtime import Course, RateChange
from protocol.points import Point
from protocol.ramp import Ramp
from protocol.states import JointState
from protocol.status import Status

LEG_US = 2_000_000
"""At least, of a small way there or back."""
DELAY_US = 400_000
"""From a go to its instant."""
FULL = 1_000_000


async def there_and_back(bench: Bench, *, legs: int = 2, degrees: float = 3.0) -> list[Point]:
    """From where it stands a few degrees to where there is room, and back, at rest at each end."""
    here = (await bench.talk.drive()).position
    config = bench.configuration
    away = bench.inward(here) * round(degrees * bench.per_degree)
    # Half of either limit: 1.5·Δ/h of velocity, 6·Δ/h² of acceleration at the ends.
    velocity, acceleration = 0.5 * config.velocity, 0.4 * config.acceleration
    slowest_s = max(1.5 * abs(away) / velocity, math.sqrt(6.0 * abs(away) / acceleration))
    leg_us = max(LEG_US, round(slowest_s * 1e6))
    return [
        Point(k * leg_us, here + (away if k % 2 else 0), 0, last=k == legs) for k in range(legs + 1)
    ]


@dataclass(slots=True)
class Run:
    """A run of one joint: what it was told last."""

    bench: Bench
    points: list[Point]
    plan: Plan
    permit_us: int = 0

    @property
    def end_us(self) -> int:
        """Path time of the last point."""
        return self.points[-1].time_us

    @property
    def ramp(self) -> Ramp:
        """The ramp of the configuration."""
        return Ramp(self.bench.configuration.ramp)

    @property
    def course(self) -> Course:
        """By the change that it was told."""
        assert self.plan.change is not None
        return Course.of(self.plan.change, self.ramp)

    def drive(self) -> Fields:
        """What its drives carry."""
        fields: Fields = {"mode": Mode.PATH, "energise": True, "full_current": True}
        fields["plan"] = self.plan
        if self.plan.change is None:
            fields["within_us"] = LEASE_US
        else:
            fields["permit_us"] = self.permit_us
        return fields

    async def arm(self, stand_us: int = 0) -> Status:
        """Arm it. Raises Wrong."""
        self.plan = self.bench.talk.arm(stand_us)
        return await self.bench.talk.until(
            f"armed, complying with plan {self.plan.number}",
            lambda s: s.state is JointState.ARMED and s.plan == self.plan.number,
            60.0,
            **self.drive(),
        )

    def go(self, permit_us: int, *, after_ppm: int = FULL, in_us: int = DELAY_US) -> RateChange:
        """Make the next plan a go from where the arm stands."""
        change = RateChange(arm_now_us() + in_us, self.plan.stand_us, 0, after_ppm)
        number = self.bench.talk.arm().number
        self.plan = replace(self.plan, number=number, change=change)
        self.permit_us = permit_us
        return change

    async def moving(self, permit_us: int | None = None, *, past_us: int = 1) -> Status:
        """Go, and be under way past a path time. Raises Wrong."""
        self.go(self.end_us if permit_us is None else permit_us)
        status = await self.bench.talk.drive(**self.drive())
        if status.plan != self.plan.number:
            raise Wrong(f"the go accepted, plan {self.plan.number}", told(status))
        return await self.bench.talk.until(
            "moving",
            lambda s: s.state is JointState.MOVING and s.path_us >= past_us,
            5.0 + past_us * 1e-6,
            **self.drive(),
        )

    async def until(self, expected: str, state: JointState, within_s: float = 15.0) -> Status:
        """Repeat the drive until a state. Raises Wrong."""
        return await self.bench.talk.until(
            expected, lambda s: s.state is state, within_s, **self.drive()
        )


async def prepared(bench: Bench, *, legs: int = 2) -> Run:
    """Homed, loaded and prepared. Raises Blocked."""
    await bench.talk.home()
    points = await there_and_back(bench, legs=legs)
    for answer in (await bench.talk.points(points), await bench.talk.ask(Prepare(trajectory=7))):
        if answer != "ack":
            raise Blocked(f"a small path could not be loaded and prepared: {answer}")
    return Run(bench, points, Plan(0, 7, 0))


async def armed(bench: Bench, *, legs: int = 2) -> Run:
    """Prepared and armed at path time 0. Raises Blocked."""
    run = await prepared(bench, legs=legs)
    try:
        await run.arm()
    except Wrong as error:
        raise Blocked(f"it could not be armed: {error}") from error
    return run


async def held(bench: Bench) -> tuple[Run, Status]:
    """Held on its path by a permit. Raises Blocked."""
    run = await armed(bench)
    try:
        await run.moving(FIRST_PERMIT_US)
        status = await run.until("held", JointState.HELD)
        await bench.talk.stream.event("held")
    except Wrong as error:
        raise Blocked(f"it could not be held: {error}") from error
    return run, status
