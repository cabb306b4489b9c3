"""A whole software joint on a home sensor that bounces, driven by values."""

from protocol.clockmap import ClockMap
from protocol.configuration import Configuration
from protocol.drive import Drive, Mode
from protocol.messages import Configure
from protocol.states import JointState
from protocol.status import Fault, Status
from simulator.settings import JointSettings
from simulator.unit import JointUnit
from tests.simulator.joint.rig import PER_DEGREE

HALF_WINDOW_DEG = 1.0
REST_US = 1_000_000
DRIVE_US = 100_000
SESSION, COORDINATOR, KEY = 7, bytes(16), bytes(32)


class Driven:
    """Its window's middle is true 0; it begins some degrees below."""

    def __init__(
        self,
        seed: int,
        noise_deg: float,
        limits: Configuration,
        *,
        poll_us: float = DRIVE_US,
    ) -> None:
        settings = JointSettings(
            id="0a1b2c3d4e5f",
            name="elbow",
            seed=seed,
            counts_per_turn=limits.counts_per_turn,
            home_centre=0,
            home_half_width=round(HALF_WINDOW_DEG * PER_DEGREE),
            home_noise_counts=noise_deg * PER_DEGREE,
            start_low=-9 * PER_DEGREE,
            start_high=-3 * PER_DEGREE,
        )
        self.unit = JointUnit(settings, KEY)
        self.now = 1.0
        self.changes: list[tuple[float, bool]] = []
        """Of level, with joint time."""
        self.slow_changes = 0
        """As many of them came no faster than the slow way of homing is."""
        self.told: list[object] = []
        """Events, oldest first."""
        self._poll_us = poll_us
        self._sequence = 0
        self._slow = limits.homing.slow
        self._map = ClockMap(1, round(self.now), round(self.unit.joint_us(self.now)), 0)
        self.unit.by_value(
            self.now, lambda joint, now: joint.begin_session(COORDINATOR, SESSION, now)
        )
        refusal = self.unit.by_value(
            self.now, lambda joint, now: joint.request(Configure(configuration=limits), now)
        )
        assert refusal is None, refusal
        self._hall = self.unit.joint.hall
        self.unit.joint.hall = self._watched  # type: ignore[method-assign]
        # Nobody has proved anything on a stream: else they are told to nobody.
        self.unit.joint._body.emit = self.told.append  # type: ignore[method-assign, assignment]

    def _watched(self, level: bool, now: float) -> None:
        self.changes.append((now, level))
        self.slow_changes += abs(self.unit.joint.position(now)[1]) <= 1.01 * self._slow
        self._hall(level, now)

    def drive(self, **asked: object) -> Status:
        """A drive with drivers on, its permission running for 250 ms."""
        self._sequence += 1
        drive = Drive(
            SESSION,
            self._sequence,
            energise=True,
            clock_map=self._map,
            expiry_us=round(self.now) + 250_000,
            **asked,  # type: ignore[arg-type]
        )
        status = self.unit.drive(self.now, drive)[1]
        assert status is not None
        return status

    def wait(self, us: float) -> None:
        """Let time pass."""
        end = self.now + us
        while self.now < end:
            self.now = min(end, self.now + self._poll_us)
            self.unit.poll(self.now)

    def home(self, number: int = 1) -> bool:
        """Home it; whether it is homed then."""
        while True:
            status = self.drive(mode=Mode.HOME, homing_number=number)
            if status.state is not JointState.HOMING:
                return status.homed
            self.wait(DRIVE_US)

    def error_deg(self) -> float:
        """By how much the axis is elsewhere than the joint believes; home is the middle."""
        true, believed = self.unit.true_position(self.now)[0], self.unit.joint.position
        return (true - believed(self.unit.joint_us(self.now))[0]) / PER_DEGREE

    def jog_to(self, target: int, speed: int) -> Status:
        """A drive that jogs to a place in counts, no faster than that."""
        return self.drive(mode=Mode.JOG, jog_velocity=speed, jog_target=target)

    def over(self, velocity: int) -> Fault:
        """Go over the sensor from one side to the other, and rest; the faults there are then."""
        end = self.now + 4.0 * PER_DEGREE / abs(velocity) * 1e6
        while self.now < end:
            self.drive(mode=Mode.JOG, jog_velocity=velocity)
            self.wait(DRIVE_US)
        self.drive()
        self.wait(REST_US)
        return self.drive().faults
