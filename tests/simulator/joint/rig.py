"""A joint on the bench: configured, homed by hand, driven with plain keyword arguments."""

from dataclasses import replace

from protocol.clockmap import ClockMap
from protocol.configuration import Configuration, Homing
from protocol.drive import Drive, Mode, Plan
from protocol.messages import Configure, Prepare
from protocol.pathtime import RateChange
from protocol.points import Point, PointsFrame
from protocol.ramp import Ramp
from protocol.states import JointState
from protocol.status import Status
from simulator.joint.joint import Joint, JointIdentity

# 60 °/s, 120 °/s² (facts.md, Motion) at 177.78 microsteps per degree, × 256 counts.
PER_DEGREE = 45_511
VELOCITY = 60 * PER_DEGREE
ACCELERATION = 120 * PER_DEGREE
RAMP = Ramp.for_ratio(VELOCITY / ACCELERATION)
COORDINATOR = bytes(range(16))
SESSION = 7
IDENTITY = JointIdentity("0a1b2c3d4e5f", "test 1", 99)
MAP = ClockMap(1, 0, 0, 0)


def configuration(**changes: object) -> Configuration:
    fields: dict[str, object] = {
        "name": "elbow",
        "counts_per_turn": 360 * PER_DEGREE,
        "full_step": 16 * 256,
        "range_low": -170 * PER_DEGREE,
        "range_high": 170 * PER_DEGREE,
        "velocity": VELOCITY,
        "acceleration": ACCELERATION,
        "jog_unhomed": 5 * PER_DEGREE,
        "homing": Homing(
            direction=1,
            travel=400 * PER_DEGREE,
            backoff=1 * PER_DEGREE,
            fast=20 * PER_DEGREE,
            slow=2 * PER_DEGREE,
            home=0,
        ),
        "ramp": list(RAMP.rows),
        "temperature_limit_centi_c": 6_000,
        "supply_limit_mv": 18_000,
        "run_current_ma": 1_000,
        "hold_current_ma": 500,
    }
    return Configuration.model_validate(fields | changes)


class Rig:
    """A joint and the coordinator's side of it, at the level of values."""

    def __init__(self, clock_map: ClockMap = MAP, *, capacity: int = 512, **changes: object):
        self.joint = Joint(IDENTITY, point_capacity=capacity, position=0.0)
        self.configuration = configuration(**changes)
        self.map = clock_map
        self.sequence = 0
        self.joint.begin_session(COORDINATOR, SESSION, 0.0)
        assert self.joint.request(Configure(configuration=self.configuration), 0.0) is None

    def now(self, arm_us: float) -> float:
        """Joint time at an arm time, by the map."""
        return self.map.to_joint(arm_us)

    def drive(self, arm_us: float, **fields: object) -> Status:
        """Send a drive, to arrive at an arm time."""
        self.sequence += 1
        drive = replace(
            Drive(SESSION, self.sequence, energise=True, clock_map=self.map),
            **fields,  # type: ignore[arg-type]
        )
        status = self.joint.drive(drive, self.now(arm_us))
        assert status is not None
        return status

    def status(self, arm_us: float) -> Status:
        return self.joint.status(self.now(arm_us))

    def home(self, arm_us: float = 1_000.0) -> float:
        """Home over a sensor 2° to 4° ahead; gives the arm time after it."""
        begin = self.joint.position(self.now(arm_us))[0] - self.joint.shift
        number = self.joint.status(self.now(arm_us)).homing_number + 1
        while True:
            status = self.drive(
                arm_us, mode=Mode.HOME, homing_number=number, expiry_us=int(arm_us) + 250_000
            )
            if status.state is not JointState.HOMING:
                assert status.homed, status
                self.joint.take_events()
                self.joint.take_truth()
                return arm_us
            arm_us += 5_000.0
            away = self.joint.position(self.now(arm_us))[0] - self.joint.shift - begin
            self.joint.hall(2 * PER_DEGREE <= away <= 4 * PER_DEGREE, self.now(arm_us))

    def jog(self, arm_us: float, velocity: int, target: int | None = None) -> Status:
        """A jog drive with the usual expiry."""
        return self.drive(
            arm_us,
            mode=Mode.JOG,
            jog_velocity=velocity,
            jog_target=target,
            expiry_us=int(arm_us) + 250_000,
        )

    def path(self, arm_us: float, plan: Plan, permit_us: int | None = None) -> Status:
        """A drive in mode path; with an expiry where the plan may make the joint advance."""
        expiry_us = None if plan.change else int(arm_us) + 250_000
        return self.drive(
            arm_us, mode=Mode.PATH, plan=plan, permit_us=permit_us, expiry_us=expiry_us
        )

    def prepared(self, points: list[Point] | None = None) -> int:
        """Home and load the usual path; gives the arm time after it."""
        arm_us = int(self.home()) + 1_000
        if points is None:
            points = there_and_back(self.status(arm_us).position)
        self.load(points, arm_us)
        return arm_us + 1_000

    def moving(self, points: list[Point] | None = None, permit_us: int = 8_000_000) -> int:
        """Start at path 0 with plan 2; gives the arm time of the start's instant."""
        arm_us = self.prepared(points)
        assert self.path(arm_us, arm(1)).plan == 1
        at_us = arm_us + 100_000
        assert self.path(arm_us + 10_000, go(2, at_us), permit_us).plan == 2
        self.joint.poll(self.now(at_us))
        assert self.joint.state is JointState.MOVING
        return at_us

    def held(self) -> tuple[int, int]:
        """Move by a permit of 1 s of path and be held; gives arm time and path time."""
        at_us = self.moving(permit_us=1_000_000)
        status = self.path(at_us + 3_000_000, go(2, at_us), 1_000_000)
        assert status.state is JointState.HELD
        self.joint.take_events()
        return at_us + 3_000_000, status.path_us

    def load(self, points: list[Point], arm_us: float, trajectory: int = 5) -> None:
        frame = PointsFrame(trajectory, 0, tuple(points))
        assert self.joint.points(frame, self.now(arm_us)) is None
        assert self.joint.request(Prepare(trajectory=trajectory), self.now(arm_us)) is None


def there_and_back(
    begin: int, *, degrees: int = 60, seconds: int = 4, repeat: int = 2
) -> list[Point]:
    """Points at rest at both ends, within 60 °/s and 0.8·120 °/s² (checked by the buffer)."""
    points = [Point(0, begin, 0)]
    for k in range(1, repeat + 1):
        away = degrees * PER_DEGREE if k % 2 else 0
        points.append(Point(k * seconds * 1_000_000, begin + away, 0, last=k == repeat))
    return points


def arm(number: int, stand_us: int = 0, trajectory: int = 5) -> Plan:
    return Plan(number, trajectory, stand_us)


def go(
    number: int,
    at_us: int,
    stand_us: int = 0,
    after_ppm: int = 1_000_000,
    *,
    path_us: int | None = None,
    before_ppm: int = 0,
    trajectory: int = 5,
) -> Plan:
    change = RateChange(at_us, stand_us if path_us is None else path_us, before_ppm, after_ppm)
    return Plan(number, trajectory, stand_us, change)
