"""From the arm file to software joints: what the file says of the supply is what they get."""

from dataclasses import replace

import pytest

from coordinator.rehearsal.meeting import RehearsalError
from coordinator.rehearsal.rehearse import play_once
from coordinator.rehearsal.software_joints import joint_settings
from simulator.network import PROFILES
from simulator.physics.supply import chain_voltages
from simulator.unit import JointUnit, share_supply
from tests.coordinator.core.kit import small_arm

ARM = small_arm(2)
PROGRAM = "G0 A10\nM2\n"


def test_all_joints_are_fed_from_the_arms_supply_less_what_its_hops_take() -> None:
    units = [
        JointUnit(settings, bytes(32)) for settings in joint_settings(replace(ARM, source_v=36), 1)
    ]
    share_supply(units)
    # Two joints of 1 W at rest: by Ohm's law 36 V fall by some 3 mV on 0.05 ohm.
    volts = [unit.supply_v for unit in units]
    assert all(supply_v is not None and 35.9 < supply_v < 36.0 for supply_v in volts)
    assert volts == sorted(volts, key=lambda supply_v: -(supply_v or 0.0))


def test_a_rehearsal_is_fed_from_the_arms_supply() -> None:
    network = PROFILES["quiet"]
    assert play_once(ARM, PROGRAM, joint_settings(ARM, 1), network, 1).outcome == "finished"
    weak = replace(ARM, source_v=12.0)
    with pytest.raises(RehearsalError, match="it is faulted"):
        play_once(weak, PROGRAM, joint_settings(weak, 1), network, 1)


def test_a_joint_has_the_play_that_the_file_says() -> None:
    first, second = ARM.joints
    arm = replace(ARM, joints=(replace(first, reversal_error_deg=0.3), second))
    play, none = (settings.play_counts for settings in joint_settings(arm, 1))
    assert (play, none) == (round(0.3 * abs(first.counts_per_degree)), 0)


def test_a_fitted_hop_takes_the_place_of_the_files_and_the_first_has_the_sources_in_it() -> None:
    first, second = joint_settings(ARM, 1, fitted_ohm={ARM.joints[0].name: 0.3})
    assert (first.hop_ohm, first.source_ohm) == (0.3, 0.0)
    assert second.hop_ohm == ARM.joints[1].hop_resistance_ohm
    (other,) = joint_settings(ARM, 1, ["middle"], {"middle": 1.5})
    assert other.hop_ohm == 1.5


def test_a_rehearsal_tells_the_lowest_volts_of_each_joint() -> None:
    joints = joint_settings(ARM, 1, fitted_ohm={"base": 2.0, "middle": 2.0})
    quiet = [replace(one, ring_scatter=0.0, ring_wear_per_turn=0.0) for one in joints]
    found = play_once(ARM, PROGRAM, quiet, PROFILES["quiet"], 1)
    assert found.outcome == "finished"
    # Both at 1.2 A in 2 ohm and 1 W, as `all joints in motion` has it.
    most = chain_voltages(24.0, [2.0, 2.0], [1.0 + 1.44 * 2.0] * 2)
    assert list(found.lowest_supply_v) == ["base", "middle"]
    assert list(found.lowest_supply_v.values()) == pytest.approx(most)
