"""What all rules of a joint share: its state, drivers, position, clock, and what it reports."""

from dataclasses import dataclass

from protocol.clockmap import ArmClock
from protocol.configuration import Configuration
from protocol.drive import StopLevel
from protocol.messages import AnyEvent
from protocol.states import AT_REST, JointState, Trigger, follow
from protocol.status import Fault
from simulator.joint.current import IdleCurrent
from simulator.joint.motion import FreeMotion
from simulator.joint.path import Path

__all__ = ["AnyEvent", "Body", "JointIdentity", "Truth"]


@dataclass(frozen=True, slots=True)
class JointIdentity:
    """Who a joint is, and which boot of it."""

    id: str
    """12 hex digits, lasting."""
    firmware: str
    boot: int
    """Random per boot, 32 bits, not 0."""


@dataclass(frozen=True, slots=True)
class Truth:
    """What really happened, for those who judge a simulated world: never sent to anyone."""

    event: str
    """start, resume, hold, finish, stop or home; outputs or inputs where some of them switched;
    current-reduced or current-full where the motor's current at rest was changed."""
    at: float
    """Joint time in µs, unrounded."""
    position: float
    """Counts, as the joint believes."""
    path_us: float
    trajectory: int
    plan: int = 0
    """By which a start was made."""
    outputs: int = 0
    """One bit each, from then on."""
    inputs: int = 0


class Body:
    """State and position of one joint. Changes of state go through the table in `protocol`."""

    def __init__(self, identity: JointIdentity, point_capacity: int, outputs: int) -> None:
        self.identity = identity
        self.state = JointState.UNHOMED
        self.homed = False
        self.energised = False
        self.latched = StopLevel.NONE
        self.faults = Fault.NONE
        self.configuration: Configuration | None = None
        self.clock: ArmClock | None = None
        self.outputs = 0
        self.inputs = 0
        self.path = Path(point_capacity)
        self.motion: FreeMotion | None = None
        """Free motion in progress; None at rest and on the path."""
        self.rest_position = 0.0
        self.shift = 0
        """Counts that homing added to every position since boot."""
        self.current = IdleCurrent()
        self._has_outputs = (1 << outputs) - 1
        self.events: list[AnyEvent] = []
        self.truths: list[Truth] = []

    @property
    def limits(self) -> Configuration:
        """The configuration. Only for what no joint does before it has one."""
        assert self.configuration is not None, "nothing moves before the first configuration"
        return self.configuration

    @property
    def at_rest(self) -> bool:
        """Whether the state is one of rest."""
        return self.state in AT_REST

    @property
    def on_path(self) -> bool:
        """Whether it moves along its path."""
        return self.path.course is not None

    @property
    def may_be_energised(self) -> bool:
        """No fault, and no stop latched that lets go of the drivers."""
        return not self.faults and self.latched < StopLevel.STOP_AND_RELEASE

    @property
    def may_move(self) -> bool:
        """Drivers on, no stop latched, no fault, configured, and arm time known."""
        return (
            self.energised
            and not self.latched
            and not self.faults
            and self.configuration is not None
            and self.clock is not None
        )

    def follow(self, trigger: Trigger) -> None:
        """Take the transition that a trigger makes."""
        self.state = follow(self.state, trigger)

    def arm(self, now: float) -> float:
        """Arm time in µs by this joint's clock."""
        assert self.clock is not None, "only asked of a joint that has a map"
        return self.clock.arm(now)

    def position(self, now: float) -> tuple[float, float]:
        """Position (counts) and velocity (counts/s)."""
        if self.motion is not None:
            return self.motion.at(now)
        if self.path.course is not None:
            return self.path.position(self.arm(now))
        return self.rest_position, 0.0

    def stand(self, position: float) -> None:
        """Be at rest."""
        self.motion = None
        self.rest_position = position

    def switch(self, mask: int, values: int, now: float) -> None:
        """Switch the outputs of a mask that this joint has."""
        mask &= self._has_outputs
        after = self.outputs & ~mask | (values & mask)
        if after != self.outputs:
            self.outputs = after
            self.tell("outputs", now)

    def restore_current(self, now: float) -> None:
        """Have the full current, as the joint may be about to move."""
        was_reduced = self.reduced
        self.current.restore(now)
        if was_reduced:
            self.tell("current-full", now)

    @property
    def reduced(self) -> bool:
        """Whether the motor has a reduced current."""
        return self.energised and self.current.is_reduced

    def emit(self, event: AnyEvent) -> None:
        """Report on the stream."""
        self.events.append(event)

    def tell(self, event: str, now: float, path_us: float | None = None, plan: int = 0) -> None:
        """Note the truth of an instant."""
        if path_us is None:
            on_path, stand_us = self.on_path, float(self.path.stand_us)
            path_us = self.path.at(self.arm(now)) if on_path else stand_us
        position, trajectory = self.position(now)[0], self.path.buffer.trajectory
        self.truths.append(
            Truth(event, now, position, path_us, trajectory, plan, self.outputs, self.inputs)
        )
