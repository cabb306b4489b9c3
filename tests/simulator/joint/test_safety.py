"""Stops, faults and what lifts them (design section 5.6; categories of IEC 60204-1)."""

import pytest

from protocol.drive import Mode, StopLevel
from protocol.messages import Clear, Faulted, HomingFailed, Prepare, Stopped
from protocol.states import JointState
from protocol.status import Fault
from tests.simulator.joint.rig import ACCELERATION, VELOCITY, Rig, go

S = JointState


def moving() -> tuple[Rig, int]:
    rig = Rig()
    at_us = rig.moving()
    rig.path(at_us + 1_000_000, go(2, at_us), 8_000_000)
    rig.joint.take_events()
    return rig, at_us + 1_000_000


@pytest.mark.parametrize(
    ("level", "state", "energised"),
    [
        (StopLevel.STOP, S.READY, True),
        (StopLevel.STOP_AND_RELEASE, S.UNHOMED, False),
        (StopLevel.RELEASE, S.UNHOMED, False),
    ],
)
def test_stop_ends_a_run_off_the_path_and_gives_it_up(
    level: StopLevel, state: JointState, energised: bool
) -> None:
    rig, now = moving()
    status = rig.drive(now, stop=level)
    assert status.trajectory == 0
    assert status.state is (S.UNHOMED if level is StopLevel.RELEASE else S.STOPPING)
    status = rig.status(now + 1_000_000)
    assert (status.state, status.energised, status.stop) == (state, energised, level)
    assert status.homed is (state is S.READY)
    [stopped] = rig.joint.take_events()
    assert isinstance(stopped, Stopped)
    assert (stopped.level, stopped.position) == (level, status.position)
    assert stopped.at_us - now <= VELOCITY / ACCELERATION * 1e6


def test_stop_at_rest_discards_and_reports_at_once() -> None:
    rig = Rig()
    now = rig.prepared()
    status = rig.drive(now, stop=StopLevel.STOP)
    assert (status.state, status.trajectory) == (S.READY, 0)
    [stopped] = rig.joint.take_events()
    assert isinstance(stopped, Stopped)


def test_higher_stop_overtakes_a_lower_one_but_not_the_other_way() -> None:
    rig, now = moving()
    rig.drive(now, stop=StopLevel.STOP)
    rig.drive(now + 10_000, stop=StopLevel.STOP_AND_RELEASE)
    assert rig.drive(now + 20_000, stop=StopLevel.NONE).stop is StopLevel.STOP_AND_RELEASE
    assert not rig.status(now + 1_000_000).energised
    assert len(rig.joint.take_events()) == 1


def test_latched_stop_lets_nothing_move_until_it_is_cleared() -> None:
    rig = Rig()
    now = rig.prepared()
    rig.drive(now, stop=StopLevel.STOP)
    refusal = rig.joint.request(Prepare(trajectory=5), rig.now(now))
    assert refusal is not None
    assert refusal.code == "stop-latched"
    for mode in (Mode.JOG, Mode.HOME):
        status = rig.drive(now, mode=mode, jog_velocity=9, homing_number=9, expiry_us=now + 250_000)
        assert status.state is S.READY
    rig.drive(now)
    assert rig.joint.request(Clear(), rig.now(now)) is None
    assert rig.status(now).stop is StopLevel.NONE
    assert rig.status(now + 1_000_000).state is S.READY
    assert rig.jog(now + 1_000_000, 1_000).state is S.JOGGING


def test_clear_is_refused_while_the_newest_drive_still_asks_for_the_stop() -> None:
    rig = Rig()
    rig.drive(1_000, stop=StopLevel.STOP)
    refusal = rig.joint.request(Clear(), 2_000.0)
    assert refusal is not None
    assert refusal.code == "stop-still-asked"
    assert rig.status(2_000).stop is StopLevel.STOP


def test_released_drivers_come_on_again_only_after_clear() -> None:
    rig = Rig()
    rig.drive(1_000, stop=StopLevel.RELEASE)
    assert not rig.drive(2_000).energised
    assert rig.joint.request(Clear(), 3_000.0) is None
    assert not rig.status(3_000).energised
    assert rig.drive(4_000).energised


@pytest.mark.parametrize("level", [StopLevel.STOP, StopLevel.STOP_AND_RELEASE, StopLevel.RELEASE])
@pytest.mark.parametrize("latched", [False, True])
def test_drive_that_asks_for_drivers_beside_a_stop_does_not_switch_them_on(
    level: StopLevel, latched: bool
) -> None:
    rig = Rig()
    if latched:
        assert not rig.drive(1_000, energise=False, stop=level).energised
    status = rig.drive(2_000, energise=True, stop=level)
    assert (status.stop, status.energised) == (level, False)
    # Without the stop in the drive it goes by what is latched.
    assert rig.drive(3_000, energise=True).energised is (level is StopLevel.STOP)


def test_not_asking_to_energise_changes_nothing() -> None:
    rig = Rig()
    assert rig.drive(1_000).energised
    assert rig.drive(2_000, energise=False).energised


def test_fault_in_motion_brakes_first_and_then_stays() -> None:
    rig, now = moving()
    rig.joint.fault(Fault.DRIVER, rig.now(now))
    assert rig.status(now).state is S.STOPPING
    status = rig.status(now + 1_000_000)
    assert (status.state, status.faults, status.trajectory) == (S.FAULTED, Fault.DRIVER, 0)
    [fault] = rig.joint.take_events()
    assert isinstance(fault, Faulted)
    assert (fault.fault, fault.at_us) == ("driver", now)
    assert rig.jog(now + 1_000_000, 1_000).state is S.FAULTED


def test_fault_in_homing_ends_the_homing() -> None:
    rig = Rig()
    rig.drive(1_000, mode=Mode.HOME, homing_number=1, expiry_us=251_000)
    rig.joint.fault(Fault.SUPPLY_LOW, 100_000.0)
    failed, fault = rig.joint.take_events()
    assert isinstance(failed, HomingFailed)
    assert isinstance(fault, Faulted)


@pytest.mark.parametrize(
    ("reading", "fault"),
    [
        ((6_001, 24_000), Fault.OVER_TEMPERATURE),
        ((3_000, 17_999), Fault.SUPPLY_LOW),
        ((None, 24_000), Fault.TEMPERATURE_SENSOR),
    ],
)
def test_reading_beyond_its_limit_is_a_fault_that_clear_lifts_once_it_is_back(
    reading: tuple[int | None, int], fault: Fault
) -> None:
    rig = Rig()
    now = rig.prepared()
    rig.joint.sense(6_000, 18_000, rig.now(now))
    assert rig.status(now).faults is Fault.NONE
    rig.joint.sense(*reading, rig.now(now))
    status = rig.status(now)
    assert (status.state, status.faults, status.homed) == (S.FAULTED, fault, True)
    assert (status.temperature_centi_c, status.supply_mv) == reading
    refusal = rig.joint.request(Clear(), rig.now(now))
    assert refusal is not None
    assert refusal.code == "fault-persists"
    rig.joint.sense(3_000, 24_000, rig.now(now))
    assert rig.status(now).state is S.FAULTED
    assert rig.joint.request(Clear(), rig.now(now)) is None
    assert rig.status(now).state is S.READY


def test_fan_comes_on_warm_and_goes_off_cooler() -> None:
    rig = Rig()
    seen = []
    for centi_c in (4_499, 4_500, 4_001, 3_999):
        rig.joint.sense(centi_c, 24_000, 1_000.0)
        seen.append(rig.status(1_000).fan_percent)
    assert seen == [0, 100, 100, 0]
