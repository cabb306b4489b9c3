"""A joint's own control, turned while real processes play the arm."""

from pathlib import Path

import pytest

from coordinator.client import Client
from coordinator.config.touch import USUAL_TOUCH
from tests.bench.lag_joints import watched_joints
from tests.e2e.harness import bench, until

JOINT = "turntable"
DETENTS = 15


def test_a_joints_own_control_turns_it_by_its_detents_time_after_time(tmp_path: Path) -> None:
    with bench(tmp_path, touch=True) as arm, watched_joints(arm, "quiet", 1) as joints:
        arm.serve()
        arm.until_linked()
        arm.home()
        with Client(arm.url) as client:
            client.take_control()
            client.release_control()
            place_deg = client.joints()[JOINT].position_deg
            assert place_deg is not None

            def is_there() -> bool:
                return client.joints()[JOINT].position_deg == pytest.approx(place_deg, abs=1e-3)

            for _ in range(DETENTS):
                joints.turn(JOINT, 1)
                place_deg += USUAL_TOUCH.detent_deg
                until(is_there, f"{JOINT} at {place_deg:.2f}°")
            assert client.control().name == f"the control of {JOINT}"
