"""Arm and go: when a joint complies, starts, and says why it does not (design section 4)."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocol.drive import Mode, StopLevel
from protocol.messages import Started
from protocol.states import JointState
from protocol.status import Fault, Reason
from tests.simulator.joint.rig import MAP, Rig, arm, go

S = JointState


def armed() -> tuple[Rig, int]:
    rig = Rig()
    now = rig.prepared()
    assert rig.path(now, arm(1)).plan == 1
    return rig, now


def test_joint_with_plan_and_permit_before_the_instant_starts_at_exactly_the_instant() -> None:
    rig, now = armed()
    rig.path(now + 10_000, go(2, now + 100_000))
    status = rig.path(now + 30_000, go(2, now + 100_000), 100_000)
    assert (status.state, status.plan, status.permit_us) == (S.ARMED, 2, 100_000)
    rig.joint.poll(now + 5_000_000.0)
    [started, _held] = rig.joint.take_events()
    assert isinstance(started, Started)
    assert (started.start_us, started.permission_us) == (now + 100_000, now + 30_000)
    [start, hold] = rig.joint.take_truth()
    assert (start.event, start.at, start.path_us) == ("start", now + 100_000.0, 0)
    assert hold.event == "hold"


def test_permission_counts_from_the_change_when_that_came_after_the_permit() -> None:
    rig, now = armed()
    rig.path(now + 10_000, arm(1), 100_000)
    rig.path(now + 20_000, go(2, now + 100_000), 100_000)
    rig.joint.poll(now + 200_000.0)
    [started] = rig.joint.take_events()
    assert isinstance(started, Started)
    assert started.permission_us == now + 20_000


def test_permit_alone_never_starts_a_joint() -> None:
    rig, now = armed()
    for k in range(50):
        assert rig.path(now + k * 40_000, arm(1), 8_000_000).state is S.ARMED


def test_without_permit_at_the_instant_the_start_does_not_happen_then_or_later() -> None:
    rig, now = armed()
    assert rig.path(now + 10_000, go(2, now + 100_000)).plan == 2
    assert rig.status(now + 99_999).plan == 2
    status = rig.status(now + 100_000)
    assert (status.state, status.plan, status.reason) == (S.ARMED, 0, Reason.LATE)
    status = rig.path(now + 110_000, go(2, now + 100_000), 8_000_000)
    assert (status.state, status.plan, status.reason) == (S.ARMED, 0, Reason.LATE)
    assert rig.status(now + 5_000_000).state is S.ARMED


def test_permit_that_does_not_pass_the_path_time_to_stand_at_starts_nothing() -> None:
    rig, now = armed()
    rig.path(now + 10_000, go(2, now + 100_000), 0)
    assert rig.status(now + 100_000).reason is Reason.LATE


def test_permit_taken_away_before_the_instant_starts_nothing() -> None:
    rig, now = armed()
    rig.path(now + 10_000, go(2, now + 100_000), 100_000)
    rig.path(now + 20_000, go(2, now + 100_000))
    assert rig.status(now + 200_000).state is S.ARMED


@pytest.mark.parametrize("late_us", [0, 1, 500_000])
def test_change_that_comes_at_or_after_its_instant_is_late(late_us: int) -> None:
    rig, now = armed()
    at_us = now + 100_000
    status = rig.path(at_us + late_us, go(2, at_us), 8_000_000)
    assert (status.state, status.plan, status.reason) == (S.ARMED, 0, Reason.LATE)


def test_withdrawal_before_the_instant_is_the_next_arm_and_complied_with() -> None:
    rig, now = armed()
    rig.path(now + 10_000, go(2, now + 100_000), 100_000)
    status = rig.path(now + 50_000, arm(3))
    assert (status.state, status.plan) == (S.ARMED, 3)
    assert rig.status(now + 1_000_000).state is S.ARMED
    assert rig.path(now + 1_000_000, go(4, now + 1_100_000), 100_000).plan == 4
    assert rig.status(now + 1_100_000).state is S.MOVING


def test_withdrawal_after_the_instant_holds_the_joint_on_its_path() -> None:
    rig, now = armed()
    rig.path(now + 10_000, go(2, now + 100_000), 100_000)
    status = rig.path(now + 150_000, arm(3))
    assert (status.state, status.plan, status.reason) == (S.RAMPING, 0, Reason.NOT_ARMED)
    assert rig.status(now + 1_000_000).state is S.HELD


def test_withdrawn_change_never_takes_effect_even_if_it_is_sent_again() -> None:
    rig, now = armed()
    rig.path(now + 10_000, go(2, now + 400_000), 100_000)
    rig.path(now + 50_000, arm(3))
    status = rig.path(now + 60_000, go(2, now + 400_000), 100_000)
    assert (status.plan, status.reason) == (0, Reason.NOT_ARMED)
    assert rig.status(now + 1_000_000).state is not S.MOVING


def test_start_needs_that_the_plan_before_it_was_an_arm() -> None:
    rig, now = armed()
    rig.path(now + 10_000, go(2, now + 400_000), 100_000)
    status = rig.path(now + 20_000, go(3, now + 500_000), 100_000)
    assert (status.plan, status.reason) == (0, Reason.NOT_ARMED)
    assert rig.status(now + 1_000_000).state is S.ARMED


def test_start_under_the_number_of_the_arm_is_refused() -> None:
    rig, now = armed()
    assert rig.path(now + 10_000, go(1, now + 100_000), 100_000).reason is Reason.NOT_ARMED


def test_repeat_of_a_plan_keeps_the_start_pending() -> None:
    rig, now = armed()
    for k in range(5):
        assert rig.path(now + k * 10_000, go(2, now + 100_000), 100_000).plan == 2
    rig.joint.poll(now + 100_000.0)
    [started] = rig.joint.take_events()
    assert isinstance(started, Started)
    assert started.permission_us == now


def test_plan_that_is_not_for_this_joint_as_it_stands_is_refused_with_its_reason() -> None:
    rig = Rig()
    now = rig.prepared()
    for plan, reason in (
        (arm(1, trajectory=6), Reason.NOT_ARMED),
        (go(2, now + 900_000), Reason.NOT_ARMED),
        (arm(3, stand_us=-1), Reason.ELSEWHERE),
        (arm(4, stand_us=8_000_001), Reason.POINTS_MISSING),
    ):
        status = rig.path(now, plan, 8_000_000)
        assert (status.state, status.plan, status.reason) == (S.PREPARED, 0, reason)
    assert rig.path(now, arm(5)).plan == 5
    for plan in (go(6, now + 900_000, 1), go(6, now + 900_000, path_us=1)):
        assert rig.path(now, plan, 8_000_000).reason is Reason.ELSEWHERE


def test_loaded_but_not_prepared_is_not_armed() -> None:
    rig = Rig()
    now = rig.prepared()
    assert rig.path(now, arm(1)).plan == 1
    fresh = Rig()
    now = int(fresh.home())
    assert fresh.path(now, arm(1)).reason is Reason.NOT_ARMED


def test_without_map_there_is_no_arm_time() -> None:
    rig = Rig()
    assert rig.drive(0, clock_map=None, mode=Mode.PATH, plan=arm(1)).reason is Reason.NO_MAP


def test_drive_without_plan_disarms_and_the_old_arm_is_worth_nothing() -> None:
    rig, now = armed()
    assert rig.drive(now + 10_000).state is S.PREPARED
    assert rig.path(now + 20_000, go(2, now + 100_000), 100_000).reason is Reason.NOT_ARMED


@pytest.mark.parametrize("stop", [StopLevel.STOP, StopLevel.STOP_AND_RELEASE, StopLevel.RELEASE])
def test_stop_takes_a_pending_start_away(stop: StopLevel) -> None:
    rig, now = armed()
    rig.path(now + 10_000, go(2, now + 100_000), 100_000)
    status = rig.drive(now + 20_000, mode=Mode.PATH, plan=go(2, now + 100_000), stop=stop)
    assert status.trajectory == 0
    assert rig.status(now + 1_000_000).velocity == 0
    assert [truth.event for truth in rig.joint.take_truth()] == []


def test_fault_takes_a_pending_start_away() -> None:
    rig, now = armed()
    rig.path(now + 10_000, go(2, now + 100_000), 100_000)
    rig.joint.fault(Fault.DRIVER, rig.now(now + 20_000))
    assert rig.status(now + 1_000_000).state is S.FAULTED


def test_silence_takes_a_start_away_that_lies_further_ahead() -> None:
    rig, now = armed()
    rig.path(now, go(2, now + 1_600_000), 100_000)
    assert rig.status(now + 1_499_999).plan == 2
    status = rig.status(now + 2_000_000)
    assert (status.state, status.plan) == (S.ARMED, 0)


def test_map_that_jumps_takes_a_pending_start_away() -> None:
    rig, now = armed()
    rig.path(now, go(2, now + 100_000), 100_000)
    far = replace(MAP, number=2, joint_us=5_001)
    status = rig.drive(
        now + 1_000, mode=Mode.PATH, plan=go(2, now + 100_000), permit_us=100_000, clock_map=far
    )
    assert (status.state, status.plan) == (S.ARMED, 0)
    assert rig.status(now + 1_000_000).state is S.ARMED


@given(st.integers(-4_999, 4_999), st.integers(1, 90_000))
def test_new_map_slews_a_pending_start_and_the_start_keeps_its_arm_time(
    shift_us: int, after_us: int
) -> None:
    rig, now = armed()
    at_us = now + 100_000
    rig.path(now, go(2, at_us), 100_000)
    new = replace(MAP, number=2, joint_us=shift_us)
    status = rig.drive(
        now + after_us, mode=Mode.PATH, plan=go(2, at_us), permit_us=100_000, clock_map=new
    )
    # By the old map the instant is `at_us`; 200 ppm of what is left of the way at most are slewed.
    assert status.map_number == 2
    assert status.remainder_us == shift_us
    rig.joint.poll(at_us + 1_000.0)
    [start] = rig.joint.take_truth()
    slewed_us = min(abs(shift_us), 200e-6 * (100_000 - after_us))
    expected_us = at_us + (slewed_us if shift_us > 0 else -slewed_us)
    assert start.at == pytest.approx(expected_us, abs=0.01)


def test_plan_numbers_only_grow_and_an_older_one_is_no_plan() -> None:
    rig, now = armed()
    assert rig.path(now, arm(5)).plan == 5
    status = rig.path(now + 1_000, arm(4))
    assert (status.state, status.plan, status.reason) == (S.PREPARED, 0, Reason.NOT_ARMED)
    rig = Rig()
    at_us = rig.moving()
    assert rig.path(at_us + 100_000, go(6, at_us), 8_000_000).plan == 6
    assert rig.path(at_us + 200_000, go(2, at_us), 8_000_000).state is S.RAMPING
