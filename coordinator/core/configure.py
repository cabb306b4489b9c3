"""From the arm file to what each joint is told about itself: degrees become counts."""

import math

from coordinator.arm import Arm, Joint
from protocol.configuration import Configuration, Homing
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


def configuration_of(joint: Joint, ramp: Ramp) -> Configuration:
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
    )
