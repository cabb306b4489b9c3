"""The arm's state as a whole."""

from dataclasses import dataclass

from coordinator.codes.arm_phase import ArmPhase
from coordinator.core.condition import Condition, announced, condition
from coordinator.core.events import Note
from coordinator.core.homing import HomingSnapshot, HomingState
from coordinator.core.homing_ways import HomingWay, homing_ways
from coordinator.core.link.link import rests_after_us
from coordinator.core.machine import Coordinator
from coordinator.core.run import Phase
from coordinator.core.snapshot.joint import JointSnapshot, joint_snapshot
from coordinator.core.snapshot.run import RunSnapshot, run_snapshot
from coordinator.core.snapshot.warning import (
    AlarmsSnapshot,
    WarningSnapshot,
    alarms_snapshot,
    warnings_snapshot,
)
from coordinator.core.start_forecast import StartForecast, start_forecast
from coordinator.core.updating.updates import UpdateSnapshot


@dataclass(frozen=True, slots=True)
class UnknownJoint:
    """A joint that announces itself and that no arm file names."""

    instance: str
    """By which it announces itself."""
    id: str
    host: str


@dataclass(frozen=True, slots=True)
class ArmSnapshot:
    """The arm. Instants are arm time in µs, path times µs from a part's beginning."""

    arm: str
    """Its name."""
    session: str
    """Another one with each coordinator, and after the laptop slept: arm time begins anew."""
    now_us: int
    condition: Condition
    """What to look at first."""
    phase: ArmPhase
    busy: bool
    """Whether something moves, or will without another command, as far as `phase` tells."""
    rests_after_us: int
    """How long joints that hear no more can move, by their own rules; constant."""
    run: RunSnapshot | None
    """The one that has not ended."""
    homing: HomingSnapshot | None
    """The newest."""
    homing_ways: tuple[HomingWay, ...] | None
    """What each joint would do if it were homed now, first homed first; only of older coordinators
    not known, as the next."""
    homing_while_held: bool | None
    """Whether a joint homes only while a control is held."""
    update: UpdateSnapshot | None
    """The newest of a joint's firmware; None where none was asked for since the coordinator began.
    """
    start_forecast: StartForecast | None
    """None while anything is under way."""
    joints: tuple[JointSnapshot, ...]
    """Base to tool."""
    poses: dict[str, dict[str, float]]
    """The arm file's, by name: the angle of each joint in degrees."""
    warnings: tuple[WarningSnapshot, ...]
    """Those that stand, shelved ones too, oldest first."""
    alarms: AlarmsSnapshot | None
    """What is to be told of alarms beside that; only of older coordinators not known."""
    unknown: tuple[UnknownJoint, ...]
    """Joints that announce themselves and that no arm file names."""
    notes: tuple[Note, ...]
    """What people were told: the last 200, oldest first, their details marked as such."""


def arm_snapshot(core: Coordinator, now: int) -> ArmSnapshot:
    """Everything at arm time `now`."""
    doing = arm_phase(core)
    run = core.run if core.run is not None and core.run.phase is not Phase.ENDED else None
    return ArmSnapshot(
        arm=core.arm.name,
        session=f"{core.session:016x}",
        now_us=now,
        condition=condition(core, now),
        phase=doing,
        busy=arm_busy(core),
        rests_after_us=rests_after_us(core.ramp),
        run=run_snapshot(run, now) if run else None,
        homing=core.homing.snapshot() if core.homing else None,
        homing_ways=homing_ways(core.arm, core.links, now),
        homing_while_held=core.arm.homing_while_held,
        update=core.updates.snapshot(),
        start_forecast=start_forecast(core, now) if doing is ArmPhase.IDLE else None,
        joints=tuple(joint_snapshot(core, link, now) for link in core.links),
        poses={name: core.arm.pose_deg(name) for name in core.arm.poses},
        warnings=warnings_snapshot(core.watch.warnings),
        alarms=alarms_snapshot(core.watch.warnings),
        unknown=tuple(
            UnknownJoint(name, found.announcement.id, found.host)
            for name, found in core.members.strangers.announced.items()
        ),
        notes=tuple(core.outbox.notes),
    )


def arm_busy(core: Coordinator) -> bool:
    """Whether something moves, or will without another command."""
    return arm_phase(core).busy or announced(core)


def arm_phase(core: Coordinator) -> ArmPhase:
    """What is under way."""
    if core.run is not None and core.run.phase is not Phase.ENDED:
        return ArmPhase(core.run.phase.value)
    if core.homing is not None and core.homing.state is HomingState.RUNNING:
        return ArmPhase.HOMING
    return ArmPhase.JOGGING if core.jogging else ArmPhase.IDLE
