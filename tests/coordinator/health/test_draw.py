"""The current of a joint's motor, by what its status says: the same for heat and for supply."""

from dataclasses import replace

import pytest

from coordinator.health.draw import IDLE_W, WINDING_OHM, current_a, drawn_watts
from coordinator.health.heat_load import load_of
from protocol.states import MOVING_STATES, JointState
from protocol.status import Status
from tests.coordinator.core.kit import small_arm

JOINT = small_arm().joint("tip")
REST = Status(boot=1, sequence=1, state=JointState.READY, energised=True, supply_mv=24_000)
MOVING = replace(REST, state=JointState.MOVING)
SHARE = 0.4
CASES = [
    (REST, JOINT.hold_current_a),
    (replace(REST, reduced=True), SHARE * JOINT.hold_current_a),
    (MOVING, JOINT.run_current_a),
    (replace(MOVING, supply_mv=None), JOINT.run_current_a),  # one that does not measure it
    (replace(MOVING, supply_mv=3_000), JOINT.run_current_a),
    (replace(MOVING, supply_mv=2_999), 0.0),  # no driver makes current of so little
    (replace(MOVING, supply_mv=1_000), 0.0),
    (replace(MOVING, energised=False), 0.0),
    (replace(REST, supply_mv=999), 0.0),  # a logic that answers has another supply
    (replace(MOVING, supply_mv=0), 0.0),
]


@pytest.mark.parametrize(("status", "amperes"), CASES)
def test_a_motor_has_the_current_that_its_status_says(status: Status, amperes: float) -> None:
    assert current_a(JOINT, SHARE, status) == amperes


@pytest.mark.parametrize(("status", "amperes"), CASES)
def test_heat_and_supply_go_by_the_same_current(status: Status, amperes: float) -> None:
    in_motion = JOINT.run_current_a
    assert load_of(JOINT, SHARE, status) == pytest.approx((amperes / in_motion) ** 2)
    watts = IDLE_W + amperes**2 * WINDING_OHM
    assert drawn_watts(JOINT, SHARE, status) == pytest.approx(watts)


@pytest.mark.parametrize("state", sorted(MOVING_STATES))
def test_a_joint_in_motion_has_its_run_current_even_before_the_full_one_settled(
    state: JointState,
) -> None:
    status = replace(REST, state=state, reduced=True)
    assert current_a(JOINT, SHARE, status) == JOINT.run_current_a
