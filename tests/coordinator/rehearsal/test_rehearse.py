"""One rehearsal: what it says is what the software joints truly did."""

from dataclasses import replace

import pytest

from coordinator.config.arm import Arm
from coordinator.core.events import Refused
from coordinator.motion import check_program
from coordinator.programs import ProgramError, Switches
from coordinator.rehearsal.meeting import RehearsalError
from coordinator.rehearsal.operator import REACTION_US
from coordinator.rehearsal.played import Played
from coordinator.rehearsal.rehearse import play_once
from coordinator.rehearsal.software_joints import joint_settings
from protocol.constants import US
from simulator.network import PROFILES, Profile
from tests.coordinator.core.kit import small_arm

ARM = small_arm(2)
THERE_AND_BACK = "G90 G94\nG0 A30 B-20\nG0 A0 B0\nM2\n"
PAUSED = "G90 G94\nG0 A30 B-20\nM0\nG0 A0 B0\nM2\n"
OUTAGES = Profile(outages_per_minute=25.0)
"""Perfect but for an outage of 0.5 to 2 s on each link every 2.4 s or so."""


def played(
    text: str = THERE_AND_BACK, network: Profile = PROFILES["quiet"], seed: int = 1, arm: Arm = ARM
) -> Played:
    return play_once(arm, text, joint_settings(arm, seed), network, seed)


def test_the_operators_switches_are_those_of_the_rehearsal() -> None:
    text = "/G2\nG0 A10 B5\nM1\nG0 A0\nM2\n"
    joints, quiet = joint_settings(ARM, 1), PROFILES["quiet"]
    for is_on, starts in ((False, 1), (True, 2)):
        switches = Switches(block_delete=True, optional_stop=is_on)
        found = play_once(ARM, text, joints, quiet, 1, switches)
        assert (found.outcome, len(found.starts)) == ("finished", starts)
    with pytest.raises(ProgramError):
        play_once(ARM, text, joints, quiet, 1)


def test_the_same_seed_gives_the_same_rehearsal_and_another_seed_another() -> None:
    assert played(seed=3) == played(seed=3)
    assert played(seed=3).starts != played(seed=4).starts


@pytest.mark.parametrize("network", ["none", "quiet", "home"])
def test_a_program_on_a_good_network_finishes_after_one_start_of_all_joints(network: str) -> None:
    found = played(network=PROFILES[network])
    assert (found.outcome, found.holds, found.partial_starts) == ("finished", (), 0)
    (start,) = found.starts
    assert (start.attempts, start.is_resume) == (1, False)
    assert start.start_skew_us is not None
    assert start.start_skew_max_us is not None
    assert 0.0 <= start.start_skew_us <= start.start_skew_max_us
    assert start.start_margin_us.keys() == {joint.name for joint in ARM.joints}
    # Permission comes after *go* was sent and before the instant, by a clock within 100 ppm.
    assert all(
        0 < margin <= 1.0001 * start.start_delay_us + 1 for margin in start.start_margin_us.values()
    )
    # A joint begins by its own clock, which is wrong by no more than the report proves.
    assert start.off_us.keys() == start.start_margin_us.keys()
    assert all(0.0 < abs(off_us) <= start.start_skew_max_us for off_us in start.off_us.values())
    assert found.wait_us is not None
    assert found.wait_us >= start.start_delay_us - start.start_skew_max_us


def test_the_duration_seen_is_the_planned_one_and_what_the_ramp_at_the_start_costs() -> None:
    planned_s = check_program(THERE_AND_BACK, ARM).duration_s
    assert planned_s is not None
    seen_us = played().motion_us
    assert seen_us is not None
    # At rate s(t) the ramp of 0.81 s covers 0.5 s of path (design section 5.4): 0.3 s are lost.
    assert planned_s + 0.2 < seen_us / US < planned_s + 0.45


def test_a_programmed_pause_is_gone_on_from_and_counts_as_no_hold() -> None:
    found = played(PAUSED)
    assert (found.outcome, len(found.starts), found.holds) == ("finished", 2, ())
    # The second part is another trajectory, from its own path time 0.
    assert [start.is_resume for start in found.starts] == [False, False]


def test_a_held_run_is_resumed_until_it_finishes_and_each_hold_names_its_cause() -> None:
    found = [played(PAUSED, OUTAGES, seed) for seed in range(1, 4)]
    assert [one.outcome for one in found] == ["finished"] * 3
    holds = [hold for one in found for hold in one.holds]
    assert holds
    for hold in holds:
        assert any(joint.name in hold.cause for joint in ARM.joints)
    for one in found:
        assert sum(start.is_resume for start in one.starts) >= bool(one.holds)
        assert one.motion_us is not None
        assert one.motion_us > REACTION_US * len(one.holds)


def test_starts_that_the_network_defeats_are_counted_as_refused_and_not_as_holds() -> None:
    found = [played(PAUSED, OUTAGES, seed) for seed in range(1, 4)]
    assert sum(one.refused_starts for one in found) > 0
    for one in found:
        assert not any("did not confirm the start" in hold.cause for hold in one.holds)
        assert not any("did not get ready" in hold.cause for hold in one.holds)


def test_a_buffer_margin_is_seen_only_where_points_are_sent_while_the_arm_moves() -> None:
    assert played().buffer_margin_us == {}
    small = [replace(joint, point_capacity=64) for joint in joint_settings(ARM, 1)]
    long = "G90 G94\n" + "G1 A10 F1200\nG1 A0\n" * 12 + "M2\n"
    found = play_once(ARM, long, small, PROFILES["quiet"], 1)
    assert found.outcome == "finished"
    assert found.buffer_margin_us.keys() == {joint.name for joint in ARM.joints}


def test_an_arm_whose_home_sensor_is_out_of_reach_is_named_with_the_joint() -> None:
    joints = joint_settings(ARM, 1)
    lost = replace(joints[0], home_centre=joints[0].home_centre + 10 * joints[0].counts_per_turn)
    with pytest.raises(RehearsalError, match=r"homing fails: base: .*search"):
        play_once(ARM, THERE_AND_BACK, [lost, *joints[1:]], PROFILES["quiet"], 1)


def test_a_network_on_which_nothing_comes_in_time_is_named_with_the_joints_that_are_missing() -> (
    None
):
    with pytest.raises(RehearsalError, match=r"after 60 s .*base .*middle"):
        played(network=Profile(base_forward_ms=70_000.0))


def test_a_program_with_a_mistake_is_refused_with_its_line() -> None:
    with pytest.raises(ProgramError, match="line 1"):
        played("G0 Q5\nM2\n")


def test_a_program_that_moves_nothing_is_refused() -> None:
    with pytest.raises(Refused, match="moves nothing"):
        played("M2\n")


def test_how_far_it_is_is_told_as_it_goes_and_changes_nothing() -> None:
    slow = "G90 G94\nG1 A30 F60\nG1 A0\nM2\n"  # 30° at 1 °/s, there and back
    shares: list[float] = []
    joints = joint_settings(ARM, 1)
    found = play_once(ARM, slow, joints, PROFILES["quiet"], 1, tell=shares.append)
    assert found == played(slow)
    assert shares == sorted(shares)
    assert 50 < len(shares) < 70  # once a second
    assert shares[0] == 0.0
    assert 0.9 < shares[-1] <= 1.0


def test_a_rehearsal_that_takes_longer_than_planned_is_never_told_as_more_than_whole() -> None:
    shares: list[float] = []
    joints = joint_settings(ARM, 1)
    play_once(ARM, THERE_AND_BACK, joints, OUTAGES, 1, tell=shares.append)
    assert max(shares) <= 1.0
