"""What would happen next: tried on a copy of a joint's firmware, which then is thrown away.

Few scenarios strike in the one instant in which a rule of a joint matters. So whenever a joint
takes another plan or begins to move, a copy of it meets what a network or a coordinator may do
then: nothing comes any more (I3), a drive that carries nothing (I11), a permit beyond the points
(I2), a longer permit when it ramps to rest (I2), a start without an arm before it (I1), the same
start once more when it is too late (I4), a fast jog when it is not homed (I6), a home sensor that
switches far from home (I9).
"""

import math
from dataclasses import replace
from typing import Final

from coordinator.rehearsal.joint_node import Node
from protocol.constants import SILENCE_US, US
from protocol.drive import Drive, Mode, Plan
from protocol.states import MOVING_STATES, JointState
from protocol.status import Fault
from simulator.joint.joint import Joint
from tests.campaign.clone import clone
from tests.campaign.invariants.base import Invariant
from tests.campaign.judge import MOVES_BY_DRIVES
from tests.campaign.truth import body_of, limits_of, path_of, points_needed_us, state_of

FAR_US: Final = 10_000_000
LATE_US: Final = 1_000
AWAY_DEG: Final = 5.0
"""Farther from home than any edge of its sensor, and any step that may be overlooked."""
ROUNDING_US: Final = 2.0


class LeftAlone(Invariant):
    """Were this the last drive, the joint would come to rest by itself."""

    name = "I3"

    def permitted(self, node: Node, drive: Drive) -> None:
        """Wait as long as the permission lasts, and the ramp or the braking after it."""
        limits, now = limits_of(node), self.judge.joint_us(node)
        alone: Joint = clone(node.unit.joint)
        if limits is None or alone.clock is None:
            raise self.broken(f"{node.name} moves without a configuration or a clock")
        ends_us = now + SILENCE_US
        if drive.expiry_us is not None:
            ends_us = min(ends_us, max(now, alone.clock.joint(drive.expiry_us)))
        rest_us = max(path_of(node).ramp.duration_us, limits.velocity / limits.acceleration * US)
        alone.poll(now + (ends_us - now + rest_us) * 1.001 + 10)
        if alone.state in MOVING_STATES:
            raise self.broken(
                f"{node.name} is {state_of(node).word}, and would be {alone.state.word} too long "
                "if no drive came any more"
            )


class Withdrawn(Invariant):
    """What the newest drive does not carry neither goes on nor is about to start."""

    name = "I11"

    def permitted(self, node: Node, drive: Drive) -> None:
        """Let a drive come that carries nothing."""
        copy: Joint = clone(node.unit.joint)
        nothing = Drive(drive.session, drive.sequence + 1, Mode.NONE)
        copy.drive(nothing, self.judge.joint_us(node))
        if copy.state in MOVES_BY_DRIVES or copy.path.pending is not None:
            raise self.broken(
                f"{node.name} is {state_of(node).word}, and would be {copy.state.word} still "
                "after a drive that carries nothing"
            )


class OfferedTooMuch(Invariant):
    """No permit is taken beyond what the points carry."""

    name = "I2"

    def permitted(self, node: Node, drive: Drive) -> None:
        """Offer a permit far beyond the points."""
        buffered_us = path_of(node).buffer.buffered_us
        if path_of(node).buffer.last is not None or drive.permit_us is None:
            return
        copy: Joint = clone(node.unit.joint)
        more = replace(drive, sequence=drive.sequence + 1, permit_us=buffered_us + FAR_US)
        copy.drive(more, self.judge.joint_us(node))
        taken_us = copy.path.effective_permit_us()
        needed_us = 0.0 if taken_us is None else points_needed_us(copy.path, taken_us)
        if needed_us > buffered_us + ROUNDING_US:
            raise self.broken(
                f"{node.name} would take a permit to {taken_us} µs and need points up to "
                f"{needed_us:.0f} µs to come to rest, they end at {buffered_us} µs"
            )


class RampsOn(Invariant):
    """A joint that ramps to rest takes no permit."""

    name = "I2"

    def permitted(self, node: Node, drive: Drive) -> None:
        """Let its permit be used up, and offer it the old one again."""
        if state_of(node) is not JointState.MOVING:
            return
        copy, now = clone(node.unit.joint), self.judge.joint_us(node)
        copy.drive(replace(drive, sequence=drive.sequence + 1, permit_us=0), now)
        status = copy.drive(replace(drive, sequence=drive.sequence + 2), now + LATE_US)
        if status is None or status.plan or copy.state is JointState.MOVING:
            raise self.broken(
                f"{node.name} would be {copy.state.word} again by a permit that came "
                f"{LATE_US / 1e3:.0f} ms after its ramp to rest began"
            )


class Unarmed(Invariant):
    """A start is not taken but after an arm."""

    name = "I1"

    def permitted(self, node: Node, drive: Drive) -> None:
        """Let another start follow on a start, twice, and no arm between them."""
        start, plan = path_of(node).pending, drive.plan
        if start is None or plan is None or state_of(node) is not JointState.ARMED:
            return
        copy, now = clone(node.unit.joint), self.judge.joint_us(node)
        other = replace(start, at_us=start.at_us + LATE_US)
        for more in (1, 2):
            go = replace(plan, number=plan.number + more, change=other)
            status = copy.drive(replace(drive, sequence=drive.sequence + more, plan=go), now)
            if status is None or status.plan or copy.path.pending is not None:
                raise self.broken(
                    f"{node.name} would take start {go.number} after start {plan.number}, "
                    "with no arm between them"
                )


class TooLate(Invariant):
    """A start that comes after its instant is not taken."""

    name = "I4"

    def permitted(self, node: Node, drive: Drive) -> None:
        """Withdraw a start, and let it come again."""
        start, plan = path_of(node).pending, drive.plan
        if start is None or plan is None or state_of(node) is not JointState.ARMED:
            return
        copy: Joint = clone(node.unit.joint)
        assert copy.clock is not None
        arm = Plan(plan.number + 1, plan.trajectory, plan.stand_us)
        withdrawal = replace(drive, sequence=drive.sequence + 1, plan=arm, permit_us=None)
        copy.drive(withdrawal, self.judge.joint_us(node))
        again = replace(plan, number=plan.number + 2)
        late_us = copy.clock.joint(start.at_us + LATE_US)
        status = copy.drive(replace(drive, sequence=drive.sequence + 2, plan=again), late_us)
        if status is None or status.plan or copy.state is not JointState.ARMED:
            raise self.broken(
                f"{node.name} would be {copy.state.word} by a start that came "
                f"{LATE_US / 1e3:.0f} ms after its instant"
            )


class JoggedBlind(Invariant):
    """A joint that is not homed is jogged slowly, whatever it is sent."""

    name = "I6"

    def permitted(self, node: Node, drive: Drive) -> None:
        """End a homing, and jog as fast as the joint may."""
        limits, now = limits_of(node), self.judge.joint_us(node)
        if limits is None or state_of(node) is not JointState.HOMING:
            return
        copy: Joint = clone(node.unit.joint)
        copy.drive(Drive(drive.session, drive.sequence + 1, Mode.NONE, energise=True), now)
        now = copy.poll(now + limits.velocity / limits.acceleration * US + LATE_US)
        assert copy.clock is not None
        jog = Drive(
            drive.session,
            drive.sequence + 2,
            Mode.JOG,
            energise=True,
            jog_velocity=limits.velocity,
            expiry_us=round(copy.clock.arm(now)) + SILENCE_US,
        )
        copy.drive(jog, now)
        speed = abs(copy.position(now + SILENCE_US - LATE_US)[1])
        if copy.state is not JointState.JOGGING or speed > limits.jog_unhomed * 1.0005 + 1.0:
            raise self.broken(
                f"{node.name}, not homed, would be {copy.state.word} by {speed:.0f} counts/s, the "
                f"limit of its jog is {limits.jog_unhomed}"
            )


class SensorAstray(Invariant):
    """A home sensor that switches where home is not shows that steps were lost."""

    name = "I9"

    def permitted(self, node: Node, drive: Drive) -> None:
        """Let the sensor switch well away from home."""
        limits, now = limits_of(node), self.judge.joint_us(node)
        if limits is None or not body_of(node).homed or node.id in self.judge.false_home:
            return
        position, turn = body_of(node).position(now)[0], limits.counts_per_turn
        if abs(math.remainder(position - limits.homing.home, turn)) < turn * AWAY_DEG / 360:
            return
        copy: Joint = clone(node.unit.joint)
        copy.hall(not copy.hall_level, now)
        if not copy.status(now).faults & Fault.STEPS_LOST:
            raise self.broken(
                f"{node.name} at {position:.0f} counts would not mind if its home sensor switched"
            )


ON_COPIES: Final[tuple[type[Invariant], ...]] = (
    LeftAlone,
    Withdrawn,
    OfferedTooMuch,
    RampsOn,
    Unarmed,
    TooLate,
    JoggedBlind,
    SensorAstray,
)
