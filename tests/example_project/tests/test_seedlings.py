"""The routine on a simulated arm. `arm` is in virtual time, `live_arm` with a real service."""

import pytest
from seedlings import CELLS, FIRST_CELL_DEG, SEEDS_DEG, prick_out, tray

from coordinator.client import Refused
from coordinator.testing.live_arm import LiveArm
from coordinator.testing.virtual_arm import VirtualArm


def test_a_full_tray_keeps_to_the_joints_limits(arm: VirtualArm) -> None:
    arm.home()
    report = arm.play(tray(CELLS))
    assert report.outcome == "finished"
    arm.truth.require_within_limits()
    arm.truth.require_angle_deg("turntable", 0, within_deg=0.5)


def test_it_goes_from_the_seeds_to_the_last_cell_and_no_further(arm: VirtualArm) -> None:
    arm.home()
    # From above the seeds, so that the way from home does not count.
    arm.play(f"G0 A{SEEDS_DEG:g} B-20 C80 D0 E-30\nM2\n")
    arm.play(tray(2))
    lowest_deg, highest_deg = arm.truth.range_deg("turntable")
    assert lowest_deg == pytest.approx(SEEDS_DEG, abs=0.5)
    assert highest_deg == pytest.approx(FIRST_CELL_DEG + 6, abs=0.5)


@pytest.mark.unisono_arm(network="home", seed=5)
def test_the_joints_begin_as_one_on_a_network_like_ours(arm: VirtualArm) -> None:
    arm.home()
    assert arm.play(tray(1)).outcome == "finished"
    arm.truth.require_spread_us(at_most_us=5_000)


def test_no_seedling_is_torn_when_the_elbow_is_lost(arm: VirtualArm) -> None:
    arm.home()
    arm.lose("elbow", at_s=6, for_s=20)
    assert arm.play(tray(1)).outcome == "held"
    arm.truth.require_at_rest()
    with pytest.raises(Refused):
        arm.resume()
    arm.run_for(20)
    assert arm.resume().outcome == "finished"


def test_a_wrist_that_gets_hot_stops_the_work(arm: VirtualArm) -> None:
    arm.home()
    arm.heat("wrist", to_c=60, at_s=2)
    report = arm.play(tray(CELLS))
    assert report.outcome == "faulted"
    assert "wrist" in report.message
    arm.truth.require_at_rest()


@pytest.mark.parametrize("cells", [0, 7])
def test_more_cells_than_it_reaches_are_refused(cells: int) -> None:
    with pytest.raises(ValueError, match=f"cells is {cells}"):
        tray(cells)


def test_the_script_does_it_with_a_real_service(live_arm: LiveArm) -> None:
    assert prick_out(live_arm.client, 1) == "1 seedlings: finished"
