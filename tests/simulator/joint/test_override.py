"""Feed overrides: a joint moves by the carried change, or by the one before with it accepted."""

import pytest

from protocol.messages import Held
from protocol.pathtime import Course
from protocol.points import PointsFrame
from protocol.states import JointState
from protocol.status import Reason
from simulator.joint.joint import Joint
from tests.simulator.joint.rig import RAMP, Rig, arm, go, there_and_back

S = JointState
SETTLED_US = round(RAMP.duration_us)


def moving() -> tuple[Rig, int, int]:
    """A joint in settled motion: rig, the start's instant, and the path time 1 s after it."""
    rig = Rig()
    at_us = rig.moving()
    status = rig.path(at_us + 900_000, go(2, at_us), 7_000_000)
    assert status.state is S.MOVING
    change = go(2, at_us).change
    assert change is not None
    return rig, at_us, round(Course.of(change, RAMP).at(at_us + 1_500_000)[0])


def cause_of_hold(joint: Joint) -> str:
    [held] = [event for event in joint.take_events() if isinstance(event, Held)]
    return held.cause


def test_override_ahead_is_accepted_and_taken_at_exactly_its_numbers() -> None:
    rig, at_us, path_us = moving()
    plan = go(3, at_us + 1_500_000, 0, 500_000, path_us=path_us, before_ppm=1_000_000)
    status = rig.path(at_us + 1_000_000, plan, 7_000_000)
    assert (status.plan, status.state) == (3, S.MOVING)
    assert plan.change is not None
    course = Course.of(plan.change, RAMP)
    for later_us in (1, 200_000, 1_000_000):
        now = at_us + 1_500_000 + later_us
        assert rig.path(now, plan, 7_000_000).plan == 3
        assert rig.joint.path_us(now) == course.at(now)[0]


def test_override_is_withdrawn_by_a_new_number_with_the_change_before() -> None:
    rig, at_us, path_us = moving()
    plan = go(3, at_us + 1_500_000, 0, 500_000, path_us=path_us, before_ppm=1_000_000)
    rig.path(at_us + 1_000_000, plan, 7_000_000)
    back = go(4, at_us)
    assert rig.path(at_us + 1_100_000, back, 7_000_000).plan == 4
    status = rig.path(at_us + 2_500_000, back, 7_000_000)
    assert (status.plan, status.state) == (4, S.MOVING)
    before = Course.of(back.change, RAMP) if back.change else None
    assert before is not None
    assert rig.joint.path_us(at_us + 2_500_000.0) == before.at(at_us + 2_500_000)[0]


def test_withdrawal_that_comes_after_the_instant_holds() -> None:
    rig, at_us, path_us = moving()
    plan = go(3, at_us + 1_500_000, 0, 500_000, path_us=path_us, before_ppm=1_000_000)
    rig.path(at_us + 1_000_000, plan, 7_000_000)
    status = rig.path(at_us + 1_600_000, go(4, at_us), 7_000_000)
    assert (status.state, status.plan, status.reason) == (S.RAMPING, 0, Reason.LATE)
    rig.joint.poll(at_us + 4_000_000.0)
    assert cause_of_hold(rig.joint) == "late"


def test_override_that_comes_after_its_instant_holds() -> None:
    rig, at_us, path_us = moving()
    plan = go(3, at_us + 1_500_000, 0, 500_000, path_us=path_us, before_ppm=1_000_000)
    status = rig.path(at_us + 1_500_000, plan, 7_000_000)
    assert (status.state, status.reason) == (S.RAMPING, Reason.LATE)


@pytest.mark.parametrize(
    ("at_us", "path_by_us", "before_ppm", "after_ppm"),
    [
        (1_500_000, 4, 1_000_000, 500_000),
        (1_500_000, -4, 1_000_000, 500_000),
        (1_500_000, 0, 500_000, 500_000),
        (1_500_000, 0, 1_000_000, 49_999),
    ],
)
def test_override_that_does_not_continue_the_course_holds(
    at_us: int, path_by_us: int, before_ppm: int, after_ppm: int
) -> None:
    rig, start_us, path_us = moving()
    plan = go(
        3, start_us + at_us, 0, after_ppm, path_us=path_us + path_by_us, before_ppm=before_ppm
    )
    status = rig.path(start_us + 1_000_000, plan, 7_000_000)
    assert (status.state, status.reason) == (S.RAMPING, Reason.LATE)


def test_override_before_the_start_has_settled_holds() -> None:
    rig = Rig()
    at_us = rig.moving()
    change = go(2, at_us).change
    assert change is not None
    early_us = at_us + SETTLED_US - 10_000
    path_us = round(Course.of(change, RAMP).at(early_us)[0])
    plan = go(3, early_us, 0, 500_000, path_us=path_us, before_ppm=1_000_000)
    assert rig.path(at_us + 100_000, plan, 7_000_000).state is S.RAMPING


def test_faster_rate_is_not_complied_with_while_the_points_do_not_reach_its_ramp() -> None:
    rig = Rig()
    now = int(rig.home())
    points = there_and_back(rig.status(now).position)
    rig.load(points[:2], now)
    rig.path(now, arm(1))
    at_us = now + 100_000
    slow = go(2, at_us, 0, 500_000)
    assert slow.change is not None
    course = Course.of(slow.change, RAMP)
    begin_us = now
    for now in range(begin_us, at_us + 7_000_000, 100_000):
        assert rig.path(now, slow, 3_900_000).plan == 2
    ahead_us = now + 300_000
    fast = go(3, ahead_us, 0, 1_000_000, path_us=round(course.at(ahead_us)[0]), before_ppm=500_000)
    status = rig.path(now, fast, 3_900_000)
    assert (status.state, status.plan, status.reason) == (S.MOVING, 0, Reason.POINTS_MISSING)
    assert rig.joint.points(PointsFrame(5, 2, tuple(points[2:])), now + 1_000.0) is None
    assert rig.path(now + 2_000, fast, 3_900_000).plan == 3


def test_override_that_lacks_points_drops_the_one_pending_and_its_drive_s_permit_counts() -> None:
    rig = Rig()
    now = int(rig.home())
    points = there_and_back(rig.status(now).position)
    rig.load(points[:2], now)
    rig.path(now, arm(1))
    at_us = now + 100_000
    slow = go(2, at_us, 0, 300_000)
    assert slow.change is not None
    course = Course.of(slow.change, RAMP)
    begin_us = now
    for now in range(begin_us, at_us + 11_600_000, 100_000):
        assert rig.path(now, slow, 3_700_000).plan == 2
    ahead_us = now + 600_000
    path_us = round(course.at(ahead_us)[0])
    lower = go(3, ahead_us, 0, 200_000, path_us=path_us, before_ppm=300_000)
    assert rig.path(now, lower, 3_700_000).plan == 3
    permit_us = rig.status(now).path_us + 100_000
    fast = go(4, ahead_us, 0, 1_000_000, path_us=path_us, before_ppm=300_000)
    # Full rate would need a ramp of 0.5 s of path, and the points end at 4 s.
    assert path_us > 4_000_000 - RAMP.path_us
    status = rig.path(now + 1_000, fast, permit_us)
    assert (status.state, status.plan, status.reason) == (S.MOVING, 0, Reason.POINTS_MISSING)
    assert status.permit_us == permit_us
    assert rig.joint.path.pending is None


def test_new_number_is_needed_for_another_change() -> None:
    rig, at_us, path_us = moving()
    plan = go(2, at_us + 1_500_000, 0, 500_000, path_us=path_us, before_ppm=1_000_000)
    assert rig.path(at_us + 1_000_000, plan, 7_000_000).state is S.RAMPING


def test_arm_while_moving_holds() -> None:
    rig, at_us, _ = moving()
    assert rig.path(at_us + 1_000_000, arm(3), 7_000_000).state is S.RAMPING
