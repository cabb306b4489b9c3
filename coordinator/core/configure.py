"""From the arm file to what each joint is told about itself: degrees become counts."""

import math
from collections.abc import Sequence

from coordinator.config.arm import Arm, Joint, ToolOutput
from protocol.configuration import Configuration, Homing, IdleCurrent, OutputsOff
from protocol.constants import COUNTS_PER_MICROSTEP
from protocol.ramp import Ramp


def _up(value: float) -> int:
    return max(1, math.ceil(abs(value)))


def arm_ramp(arm: Arm) -> Ramp:
    """The ramp of the whole arm, from the largest v/a among its joints."""
    return Ramp.for_ratio(max(_velocity(joint) / _acceleration(joint) for joint in arm.joints))


def _velocity(joint: Joint) -> int:
    return _up(joint.velocity_deg_s * joint.counts_per_degree)


def _acceleration(joint: Joint) -> int:
    return _up(joint.acceleration_deg_s2 * joint.counts_per_degree)


def outputs_off(joint: Joint, outputs: Sequence[ToolOutput]) -> OutputsOff | None:
    """Which outputs a joint switches off by itself; None where it keeps them all."""
    own = [one for one in outputs if one.joint == joint.name]
    off = OutputsOff(
        on_hold=sum(one.off_on_hold << one.bit for one in own),
        on_stop=sum(one.off_on_stop << one.bit for one in own),
        on_lost=sum(one.off_on_lost << one.bit for one in own),
    )
    return off if off.on_hold or off.on_stop or off.on_lost else None


def idle_current(joint: Joint, arm: Arm) -> IdleCurrent | None:
    """When a joint reduces its current at rest; None for one that holds a load, or may."""
    idle = arm.idle_current
    if idle is None or joint.holds_load is not False:
        return None
    return IdleCurrent(
        after_ms=round(idle.after_s * 1000),
        # Down: rounding must not pass what the joint has at rest otherwise.
        current_ma=math.floor(idle.share * round(joint.hold_current_a * 1000)),
    )


def configuration_of(
    joint: Joint,
    ramp: Ramp,
    tool_outputs: Sequence[ToolOutput] = (),
    idle: IdleCurrent | None = None,
) -> Configuration:
    """A joint's configuration. Limits are rounded up, so that a plan at the limit passes."""
    per_degree = joint.counts_per_degree
    sign = 1 if per_degree > 0 else -1
    low, high = joint.range_counts or (None, None)
    homing = joint.homing
    return Configuration(
        name=joint.name,
        counts_per_turn=_up(360.0 * per_degree),
        full_step=joint.microsteps * COUNTS_PER_MICROSTEP,
        range_low=low,
        range_high=high,
        velocity=_velocity(joint),
        acceleration=_acceleration(joint),
        jog_unhomed=_up(homing.fast_deg_s * per_degree),
        homing=Homing(
            direction=sign * homing.direction,
            travel=_up(homing.travel_deg * per_degree),
            backoff=_up(homing.backoff_deg * per_degree),
            fast=_up(homing.fast_deg_s * per_degree),
            slow=_up(homing.slow_deg_s * per_degree),
            home=joint.to_counts(joint.home_deg),
        ),
        ramp=[(time, rate) for time, rate in ramp.rows],
        temperature_limit_centi_c=round(joint.temperature_limit_c * 100),
        supply_limit_mv=round(joint.supply_limit_v * 1000),
        run_current_ma=round(joint.run_current_a * 1000),
        hold_current_ma=round(joint.hold_current_a * 1000),
        outputs_off=outputs_off(joint, tool_outputs),
        idle_current=idle,
    )
