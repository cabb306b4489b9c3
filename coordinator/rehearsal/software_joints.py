"""From the arm file to the plain settings of software joints: the one way from arm to simulator."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from random import Random
from types import MappingProxyType
from typing import Final

from coordinator.config.arm import Arm, Joint
from protocol.constants import COUNTS_PER_MICROSTEP
from simulator.physics.heat import drawn_build
from simulator.settings import JointSettings

WINDOW_DEG: Final = 1.0
"""Half the width of the home sensor's window: a small magnet on a hand-sized joint."""
NOISE_MT: Final = 0.023
"""Of a Hall sensor: 130 nT/√Hz, from memory of a data sheet (TI SBAS640), over 20 kHz."""
GRADIENT_MT_PER_DEG: Final = 4.0
"""Of such a magnet's field where the sensor switches, 4 cm from the axis (taken, not measured)."""
START_DEG: Final = (5.0, 25.0)
"""How far before home, seen in the direction of homing, a joint stands at first."""
# Of the supply, what an arm file does not say. Taken, not measured, but for the divider.
SOURCE_OHM: Final = 0.05
"""A laboratory's supply with two metres of lead."""
RING_SCATTER: Final = 0.05
RING_WEAR_PER_TURN: Final = 1e-5
"""A tenth more after 10,000 turns."""
SUPPLY_GAIN_ERROR: Final = 0.01
"""At most, either way: two resistors of 1 % (common practice)."""
SUPPLY_NOISE_V: Final = 0.01
SLIP_FULL_STEPS: Final = 4
"""A stepper of two phases that slips does so by whole cycles of them (protocol, homing)."""
UNFITTED: Final[Mapping[str, float]] = MappingProxyType({})

HEAT_FACTOR: Final = 1.2
"""By which joints of one build differ in how their heat gets out: how tightly a motor sits in its
print, how much air there is (an assumption)."""


def joint_settings(
    arm: Arm, seed: int, only: Iterable[str] = (), fitted_ohm: Mapping[str, float] = UNFITTED
) -> list[JointSettings]:
    """Settings for all joints, base to tool, or for those named. Raises KeyError for no joint.

    `fitted_ohm` are resistances of hops, by joint, that are better known than by the arm file; that
    of the first one has the source's in it.
    """
    names = {arm.joint(name).name for name in only} or {joint.name for joint in arm.joints}
    return [
        _fitted(arm, _settings(arm, joint, seed), fitted_ohm)
        for joint in arm.joints
        if joint.name in names
    ]


def _fitted(arm: Arm, settings: JointSettings, fitted_ohm: Mapping[str, float]) -> JointSettings:
    ohm = fitted_ohm.get(settings.name)
    if ohm is None:
        return settings
    source_ohm = 0.0 if settings.name == arm.joints[0].name else settings.source_ohm
    return replace(settings, hop_ohm=ohm, source_ohm=source_ohm)


def _settings(arm: Arm, joint: Joint, seed: int) -> JointSettings:
    per_degree = abs(joint.counts_per_degree)
    before = [joint.home_deg - joint.homing.direction * away for away in START_DEG]
    if joint.range_deg is not None:
        low, high = joint.range_deg
        before = [min(max(angle, low), high) for angle in before]
    start_low, start_high = sorted(joint.to_counts(angle) for angle in before)
    return JointSettings(
        id=joint.id,
        name=joint.name,
        seed=Random(f"joint {seed} {joint.id}").getrandbits(64),
        counts_per_turn=round(360.0 * per_degree),
        home_centre=joint.to_counts(joint.home_deg),
        home_half_width=round(WINDOW_DEG * per_degree),
        home_noise_counts=NOISE_MT / GRADIENT_MT_PER_DEG * per_degree,
        start_low=start_low,
        start_high=start_high,
        continuous=joint.range_deg is None,
        source_v=arm.source_v,
        hop_ohm=joint.hop_resistance_ohm,
        source_ohm=SOURCE_OHM,
        ring_wear_per_turn=RING_WEAR_PER_TURN,
        ring_scatter=RING_SCATTER,
        supply_gain_error=Random(f"supply {seed} {joint.id}").uniform(
            -SUPPLY_GAIN_ERROR, SUPPLY_GAIN_ERROR
        ),
        supply_noise_v=SUPPLY_NOISE_V,
        run_current_a=joint.run_current_a,
        hold_current_a=joint.hold_current_a,
        heat=drawn_build(Random(f"heat {seed} {joint.id}"), HEAT_FACTOR),
        inputs=len(joint.inputs),
        outputs=len(joint.outputs),
        play_counts=round(joint.reversal_error_deg * per_degree),
        slip_counts=SLIP_FULL_STEPS * joint.microsteps * COUNTS_PER_MICROSTEP,
        feedback=_feedback(arm, joint),
    )


def _feedback(arm: Arm, joint: Joint) -> tuple[tuple[int, int], ...]:
    """Every input that programs await behind an output of the same joint follows that output."""
    return tuple(
        sorted(
            {
                (wait.bit, output.bit)
                for output in arm.tool_outputs
                for wait in (output.wait_on, output.wait_off)
                if wait is not None and wait.joint == output.joint == joint.name
            }
        )
    )
