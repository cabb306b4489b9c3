"""One arm serves one go; an arm is complied with where the joint as good as stands."""

from collections.abc import Callable
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocol.constants import PATH_TOLERANCE_US, SILENCE_US
from protocol.drive import Mode, Plan
from protocol.messages import Finished
from protocol.points import Point
from protocol.states import JointState
from protocol.status import Reason, Status
from tests.simulator.joint.rig import MAP, Rig, arm, go

S = JointState
PERMIT_US = 8_000_000
FAR_US = 1_400_000
"""How far ahead of being sent the starts here are set."""


def armed() -> tuple[Rig, int]:
    rig = Rig()
    now = rig.prepared()
    assert rig.path(now, arm(1)).plan == 1
    return rig, now


def answer(status: Status) -> tuple[JointState, int, Reason]:
    return status.state, status.plan, status.reason


# One arm serves one go


def accepted(rig: Rig, now: int) -> int:
    assert rig.path(now, go(2, now + FAR_US), PERMIT_US).plan == 2
    return now


def elsewhere(rig: Rig, now: int) -> int:
    assert rig.path(now, go(2, now + FAR_US, 7), PERMIT_US).reason is Reason.ELSEWHERE
    return now


def late(rig: Rig, now: int) -> int:
    assert rig.path(now, go(2, now), PERMIT_US).reason is Reason.LATE
    return now


def too_slow(rig: Rig, now: int) -> int:
    assert rig.path(now, go(2, now + FAR_US, 0, 49_999), PERMIT_US).reason is Reason.NOT_ARMED
    return now


def missed(rig: Rig, now: int) -> int:
    rig.path(now, go(2, now + 1_000))
    assert answer(rig.status(now + 1_000)) == (S.ARMED, 0, Reason.LATE)
    return now + 1_000


def dropped_by_silence(rig: Rig, now: int) -> int:
    rig.path(now, go(2, now + 9_000_000), PERMIT_US)
    assert rig.status(now + SILENCE_US).plan == 0
    return now + SILENCE_US


def dropped_by_its_own_clock(rig: Rig, now: int) -> int:
    plan = go(2, now + FAR_US)
    rig.path(now, plan, PERMIT_US)
    jumped = replace(MAP, number=2, joint_us=-5_001)
    status = rig.drive(
        now + 1_000, mode=Mode.PATH, plan=plan, permit_us=PERMIT_US, clock_map=jumped
    )
    assert answer(status) == (S.ARMED, 0, Reason.NOT_ARMED)
    rig.map = jumped
    return now + 10_000


@pytest.mark.parametrize(
    "first",
    [accepted, elsewhere, late, too_slow, missed, dropped_by_silence, dropped_by_its_own_clock],
)
@pytest.mark.parametrize("number", [2, 3], ids=["the same number", "a newer number"])
def test_after_a_go_every_further_one_is_not_armed_until_a_newer_arm(
    first: Callable[[Rig, int], int], number: int
) -> None:
    rig, now = armed()
    now = first(rig, now)
    for k in range(1, 4):
        status = rig.path(now + k * 1_000, go(number, now + FAR_US + 1), PERMIT_US)
        assert answer(status) == (S.ARMED, 0, Reason.NOT_ARMED)
    assert answer(rig.path(now + 4_000, arm(number))) == (S.ARMED, 0, Reason.NOT_ARMED)
    assert rig.path(now + 5_000, arm(number + 1)).plan == number + 1
    at_us = now + 100_000
    assert rig.path(now + 6_000, go(number + 2, at_us), PERMIT_US).plan == number + 2
    assert rig.status(at_us).state is S.MOVING


@pytest.mark.parametrize("drop", [dropped_by_silence, dropped_by_its_own_clock, missed])
def test_start_that_was_dropped_is_not_taken_again_from_its_own_plan(
    drop: Callable[[Rig, int], int],
) -> None:
    rig, now = armed()
    after = drop(rig, now)
    plan = go(2, now + 9_000_000 if drop is dropped_by_silence else now + FAR_US)
    for k in range(1, 40):
        status = rig.path(after + k * 100_000, plan, PERMIT_US)
        assert (status.state, status.plan) == (S.ARMED, 0)


@pytest.mark.parametrize(
    "other",
    [
        lambda plan: replace(plan, stand_us=1),
        lambda plan: replace(plan, change=replace(plan.change, at_us=plan.change.at_us + 1)),
        lambda plan: replace(plan, change=replace(plan.change, path_us=1)),
        lambda plan: replace(plan, change=replace(plan.change, after_ppm=999_999)),
        lambda plan: replace(plan, number=3),
    ],
    ids=["stand", "at", "path", "rate", "number"],
)
def test_another_go_than_the_pending_one_drops_it_and_is_refused(
    other: Callable[[Plan], Plan],
) -> None:
    rig, now = armed()
    pending = go(2, now + 100_000)
    assert rig.path(now, pending, PERMIT_US).plan == 2
    status = rig.path(now + 1_000, other(pending), PERMIT_US)
    assert (status.state, status.plan) == (S.ARMED, 0)
    assert status.reason in (Reason.ELSEWHERE, Reason.NOT_ARMED)
    assert rig.path(now + 2_000, pending, PERMIT_US).plan == 0
    assert rig.status(now + 1_000_000).velocity == 0


def test_reasons_against_a_go_come_in_their_order() -> None:
    rig, now = armed()
    # Every one of these is also wrong in all that stands behind its reason.
    assert rig.path(now, go(1, now, 7, 0), PERMIT_US).reason is Reason.ELSEWHERE
    assert rig.path(now, go(1, now, 0, 0), PERMIT_US).reason is Reason.LATE
    assert rig.path(now, go(1, now + FAR_US, 0, 0), PERMIT_US).reason is Reason.NOT_ARMED
    rig.drive(now + 1_000)
    assert answer(rig.path(now + 2_000, go(2, now, 7, 0), PERMIT_US)) == (
        S.PREPARED, 0, Reason.NOT_ARMED,
    )  # fmt: skip


@pytest.mark.parametrize("stands", ["at the first point", "further on"])
@pytest.mark.parametrize("with_change", [False, True])
@pytest.mark.parametrize("what", ["lower number", "other trajectory"])
def test_plan_that_is_not_for_an_armed_joint_disarms_it(
    stands: str, with_change: bool, what: str
) -> None:
    rig = Rig()
    now, path_us = (rig.prepared(), 0) if stands == "at the first point" else rig.held()
    assert rig.path(now, arm(10, path_us)).plan == 10
    trajectory, number = (5, 9) if what == "lower number" else (6, 11)
    plan = (
        go(number, now + FAR_US, path_us, trajectory=trajectory)
        if with_change
        else arm(number, path_us, trajectory)
    )
    status = rig.path(now + 1_000, plan, PERMIT_US)
    rest = S.HELD if path_us else S.PREPARED
    assert answer(status) == (rest, 0, Reason.NOT_ARMED)


def test_nothing_is_left_of_an_older_clock_map_once_a_pending_start_is_dropped() -> None:
    rig, now = armed()
    rig.path(now, go(2, now + FAR_US), PERMIT_US)
    slewed = replace(MAP, number=2, joint_us=-4_000)
    plan = go(2, now + FAR_US)
    status = rig.drive(
        now + 1_000, mode=Mode.PATH, plan=plan, permit_us=PERMIT_US, clock_map=slewed
    )
    assert (status.plan, status.remainder_us) == (2, -4_000)
    assert rig.drive(now + 2_000, mode=Mode.PATH, plan=arm(3), clock_map=slewed).remainder_us == 0


# Where it stands


@given(st.integers(-PATH_TOLERANCE_US, PATH_TOLERANCE_US))
def test_joint_that_as_good_as_stands_there_is_armed_there_without_moving(off_us: int) -> None:
    """It came to rest by the same permit as another, and computed a little otherwise."""
    rig = Rig()
    now, path_us = rig.held()
    before = rig.joint.position(rig.now(now))[0]
    stand_us = path_us + off_us
    status = rig.path(now, arm(3, stand_us))
    assert (status.state, status.plan, status.path_us) == (S.ARMED, 3, stand_us)
    # At 60 °/s, the most that this path does, 2 µs are 6 counts; a microstep has 256.
    assert abs(rig.joint.position(rig.now(now))[0] - before) < 6
    at_us = now + 100_000
    assert rig.path(now + 1_000, go(4, at_us, stand_us), PERMIT_US).plan == 4
    rig.joint.take_truth()
    rig.joint.poll(rig.now(at_us))
    [resume] = rig.joint.take_truth()
    assert (resume.event, resume.path_us) == ("resume", stand_us)


@pytest.mark.parametrize(
    ("off_us", "answered"),
    [
        (-PATH_TOLERANCE_US - 1, (S.HELD, 0, Reason.ELSEWHERE)),
        (PATH_TOLERANCE_US + 1, (S.ADVANCING, 0, Reason.NONE)),
    ],
)
def test_joint_that_stands_further_off_is_elsewhere_or_advances(
    off_us: int, answered: tuple[JointState, int, Reason]
) -> None:
    rig = Rig()
    now, path_us = rig.held()
    assert answer(rig.path(now, arm(3, path_us + off_us))) == answered


def test_there_is_nowhere_to_stand_before_the_first_point_or_beyond_the_points() -> None:
    rig = Rig()
    now = rig.prepared()
    assert rig.path(now, arm(1, -1)).reason is Reason.ELSEWHERE
    assert rig.path(now, arm(2, 8_000_001)).reason is Reason.POINTS_MISSING
    assert rig.path(now, arm(3, 1)).plan == 3


@pytest.mark.parametrize("with_change", [False, True])
def test_number_seen_in_a_plan_for_another_trajectory_has_been_seen(with_change: bool) -> None:
    rig = Rig()
    now = rig.prepared()
    other = go(9, now + FAR_US, trajectory=6) if with_change else arm(9, trajectory=6)
    assert rig.path(now, other).reason is Reason.NOT_ARMED
    assert answer(rig.path(now + 1_000, arm(8))) == (S.PREPARED, 0, Reason.NOT_ARMED)
    assert answer(rig.path(now + 2_000, arm(9))) == (S.ARMED, 9, Reason.NONE)


def test_arm_is_newer_than_a_go_that_found_the_joint_not_armed() -> None:
    rig = Rig()
    now = rig.prepared()
    assert rig.path(now, go(5, now + FAR_US), PERMIT_US).reason is Reason.NOT_ARMED
    assert answer(rig.path(now + 1_000, arm(5))) == (S.PREPARED, 0, Reason.NOT_ARMED)
    assert answer(rig.path(now + 2_000, arm(6))) == (S.ARMED, 6, Reason.NONE)


def test_joint_that_is_armed_at_the_only_point_has_finished() -> None:
    rig = Rig()
    home_us = int(rig.home())
    position = rig.status(home_us).position
    rig.load([Point(0, position, 0, last=True)], home_us + 1_000)
    assert answer(rig.path(home_us + 2_000, arm(1))) == (S.FINISHED, 0, Reason.NOT_ARMED)
    [finished] = rig.joint.take_events()
    assert isinstance(finished, Finished)
    assert finished.position == position


def test_go_that_drops_a_pending_start_is_judged_by_a_clock_without_what_was_left_of_a_map() -> (
    None
):
    rig, now = armed()
    slewed = replace(MAP, number=2, joint_us=-4_000)
    plan = go(2, now + FAR_US)
    assert rig.path(now, plan, PERMIT_US).plan == 2
    status = rig.drive(now, mode=Mode.PATH, plan=plan, permit_us=PERMIT_US, clock_map=slewed)
    assert (status.plan, status.remainder_us) == (2, -4_000)
    status = rig.drive(
        now + 1_000, mode=Mode.PATH, plan=go(3, now + 3_000), permit_us=PERMIT_US, clock_map=slewed
    )
    assert answer(status) == (S.ARMED, 0, Reason.LATE)
    assert status.remainder_us == 0
