"""What steps of a joint's bring-up are done with, now: a text for each aspect."""

from collections.abc import Mapping

from coordinator.bringup.steps import Aspect
from coordinator.config.joint import Joint

Basis = Mapping[str, str]
"""By aspect. One that is not known now lacks."""


def basis_of(joint: Joint, number: int, firmware: str | None, body: str) -> dict[str, str]:
    """Of the joint at this place, `number` from the base, as it is described and heard now."""
    homing, range_deg = joint.homing, joint.range_deg
    ends = "turns without end" if range_deg is None else f"{range_deg[0]:g} to {range_deg[1]:g}°"
    told = {
        Aspect.CONTROLLER: joint.id,
        Aspect.BODY: body,
        Aspect.PLACE: f"number {number}",
        Aspect.GEAR: (
            f"{joint.full_steps} full steps, {joint.microsteps} microsteps, gear ratio "
            f"{joint.gear_ratio:g}, direction {joint.direction}"
        ),
        Aspect.RANGE: ends,
        Aspect.HOMING: (
            f"home at {joint.home_deg:g}°, searched in direction {homing.direction} for "
            f"{homing.travel_deg:g}° at {homing.fast_deg_s:g} and {homing.slow_deg_s:g} °/s, "
            f"{homing.backoff_deg:g}° back"
        ),
        Aspect.CURRENT: f"{joint.run_current_a:g} A, at rest {joint.hold_current_a:g} A",
        Aspect.HEAT: (
            f"warns above {joint.temperature_warning_c:g} °C, stops above "
            f"{joint.temperature_limit_c:g} °C"
        ),
        Aspect.SUPPLY: f"stops below {joint.supply_limit_v:g} V",
        Aspect.LIMITS: (
            f"{joint.velocity_deg_s:g} °/s, {joint.acceleration_deg_s2:g} °/s², "
            f"{joint.jerk_deg_s3:g} °/s³"
        ),
    }
    found = {aspect.value: text for aspect, text in told.items()}
    if firmware is not None:
        found[Aspect.FIRMWARE.value] = firmware
    return found


def differences(then: Basis, now: Basis, depends: tuple[Aspect, ...]) -> tuple[str, ...]:
    """Why what was done then counts no more, a clause for each aspect that is another now.

    What is not known now, such as the firmware of a joint that is not heard, takes nothing back.
    """
    return tuple(
        f"{aspect.value} was {then.get(aspect.value, 'not known')}, is {now[aspect.value]}"
        for aspect in depends
        if aspect.value in now and then.get(aspect.value) != now[aspect.value]
    )
