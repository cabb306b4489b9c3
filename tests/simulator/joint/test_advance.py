"""What ends an advance before it arrives, and the cause that the joint then tells."""

import pytest

from protocol.drive import Mode
from protocol.messages import Held
from protocol.states import JointState
from protocol.status import Reason
from tests.simulator.joint.rig import Rig, arm, go

S = JointState


def advancing() -> tuple[Rig, int, int]:
    """A joint on its way to a path time: rig, arm time, that path time."""
    rig = Rig()
    now, path_us = rig.held()
    goal_us = path_us + 100_000
    for k in range(5):
        assert rig.path(now + k * 40_000, arm(3, goal_us)).state is S.ADVANCING
    return rig, now + 200_000, goal_us


@pytest.mark.parametrize(
    "how", ["change", "no expiry", "expired", "stand", "lower number", "trajectory", "mode"]
)
def test_drive_that_does_not_permit_an_advance_any_more_withdraws_it(how: str) -> None:
    rig, now, goal_us = advancing()
    plan, mode, expiry_us = arm(4, goal_us), Mode.PATH, now + 250_000
    if how == "change":
        plan = go(4, now + 100_000, goal_us)
    elif how == "stand":
        plan = arm(4, goal_us + 1)
    elif how == "lower number":
        plan = arm(2, goal_us)
    elif how == "trajectory":
        plan = arm(4, goal_us, 6)
    elif how == "mode":
        mode = Mode.NONE
    fields = {"no expiry": None, "expired": now}
    status = rig.drive(now, mode=mode, plan=plan, expiry_us=fields.get(how, expiry_us))
    assert status.state is S.RAMPING
    assert status.reason is (Reason.NONE if how == "mode" else Reason.NOT_ARMED)
    rig.joint.poll(rig.now(now + 2_000_000))
    [held] = rig.joint.take_events()
    assert isinstance(held, Held)
    assert held.cause == "withdrawn"


def test_advance_that_is_not_renewed_ends_by_its_expiry() -> None:
    rig, now, _ = advancing()
    assert rig.status(now - 40_000 + 249_999).state is S.ADVANCING
    assert rig.status(now - 40_000 + 250_000).state is S.RAMPING
    rig.joint.poll(rig.now(now + 2_000_000))
    [held] = rig.joint.take_events()
    assert isinstance(held, Held)
    assert held.cause == "expiry"
