"""Requests of the stream and sessions, at the level of values."""

import pytest

from protocol.drive import Drive, Mode, StopLevel
from protocol.messages import AnyRequest, Clear, Configure, Discard, Prepare
from protocol.points import PointsFrame
from protocol.states import JointState
from protocol.status import Fault
from simulator.joint.joint import Joint
from simulator.joint.refusal import Refusal
from tests.simulator.joint.rig import (
    COORDINATOR,
    IDENTITY,
    SESSION,
    Rig,
    arm,
    configuration,
    go,
    there_and_back,
)

S = JointState
OTHER = bytes(16)
FRAME = PointsFrame(5, 0, tuple(there_and_back(0)))


def code(refusal: Refusal | None) -> str | None:
    return refusal.code if refusal else None


@pytest.mark.parametrize(
    "message", [Prepare(trajectory=5), Discard(), Clear(), Configure(configuration=configuration())]
)
def test_requests_need_a_joint_at_rest_without_a_start_pending(message: AnyRequest) -> None:
    rig = Rig()
    at_us = rig.moving()
    assert code(rig.joint.request(message, at_us + 100_000.0)) == "not-at-rest"
    rig = Rig()
    now = rig.prepared()
    rig.path(now, arm(1))
    rig.path(now, go(2, now + 500_000))
    assert code(rig.joint.request(message, rig.now(now))) == "not-at-rest"
    assert rig.status(now).plan == 2


def test_points_and_prepare_say_what_the_joint_lacks() -> None:
    joint = Joint(IDENTITY)
    assert code(joint.points(FRAME, 0.0)) == "not-configured"
    assert code(joint.request(Prepare(trajectory=5), 0.0)) == "not-configured"
    assert joint.request(Configure(configuration=configuration()), 0.0) is None
    assert code(joint.points(FRAME, 0.0)) == "unhomed"
    assert code(joint.request(Prepare(trajectory=5), 0.0)) == "unhomed"
    joint.fault(Fault.DRIVER, 0.0)
    assert code(joint.points(FRAME, 0.0)) == "faulted"
    assert code(joint.request(Prepare(trajectory=5), 0.0)) == "faulted"


def test_prepare_needs_drivers_points_and_the_place_of_the_first_point() -> None:
    rig = Rig()
    now = int(rig.home())
    at = rig.now(now)
    position = rig.status(now).position
    assert code(rig.joint.request(Prepare(trajectory=5), at)) == "points-missing"
    points = there_and_back(position + 1)
    assert rig.joint.points(PointsFrame(5, 0, tuple(points)), at) is None
    refusal = rig.joint.request(Prepare(trajectory=5), at)
    assert code(refusal) == "position"
    assert refusal is not None
    assert str(position) in refusal.message
    assert str(position + 1) in refusal.message
    assert code(rig.joint.request(Prepare(trajectory=6), at)) == "trajectory-loaded"
    assert rig.joint.request(Discard(), at) is None
    rig.load(there_and_back(position), now)
    assert rig.joint.request(Prepare(trajectory=5), at) is None


def test_finished_trajectory_is_discarded_before_the_next() -> None:
    rig = Rig()
    at_us = rig.moving()
    for now in range(at_us, at_us + 9_000_000, 100_000):
        rig.path(now, go(2, at_us), 8_000_000)
    assert rig.joint.state is S.FINISHED
    assert code(rig.joint.points(PointsFrame(6, 0, FRAME.points), float(now))) == (
        "trajectory-loaded"
    )
    assert code(rig.joint.request(Prepare(trajectory=5), float(now))) == "trajectory-loaded"
    assert rig.joint.request(Discard(), float(now)) is None
    status = rig.status(now)
    assert (status.state, status.trajectory, status.next_index) == (S.READY, 0, 0)


def test_configuration_waits_for_discard_and_new_geometry_unhomes() -> None:
    rig = Rig()
    now = rig.prepared()
    at = rig.now(now)
    same = Configure(configuration=rig.configuration)
    assert code(rig.joint.request(same, at)) == "trajectory-loaded"
    assert rig.joint.request(Discard(), at) is None
    assert rig.joint.request(same, at) is None
    assert rig.status(now).homed
    other = configuration(counts_per_turn=rig.configuration.counts_per_turn + 1)
    assert rig.joint.request(Configure(configuration=other), at) is None
    assert (rig.status(now).homed, rig.joint.state) == (False, S.UNHOMED)
    assert rig.joint.configuration_digest == Configure(configuration=other).digest()


def test_velocity_beyond_the_step_rate_is_no_configuration_for_this_joint() -> None:
    joint = Joint(IDENTITY, max_step_rate_hz=10_000)
    refusal = joint.request(Configure(configuration=configuration()), 0.0)
    assert code(refusal) == "configuration"
    assert joint.configuration_digest is None


def test_drive_of_another_session_or_an_old_one_gets_no_reply_and_does_nothing() -> None:
    rig = Rig()
    rig.drive(1_000)
    for drive in (
        Drive(SESSION + 1, 9, stop=StopLevel.RELEASE),
        Drive(SESSION, 1, stop=StopLevel.RELEASE),
        Drive(SESSION, 0, stop=StopLevel.RELEASE),
    ):
        assert rig.joint.drive(drive, 2_000.0) is None
    assert rig.status(2_000).stop is StopLevel.NONE


def test_moving_joint_and_one_about_to_start_refuse_another_session() -> None:
    rig = Rig()
    now = rig.prepared()
    rig.path(now, arm(1))
    assert rig.joint.session_refusal(COORDINATOR, 8, rig.now(now)) is None
    rig.path(now, go(2, now + 100_000), 1_000_000)
    for after_us in (10_000, 500_000):
        at = rig.now(now + after_us)
        assert code(rig.joint.session_refusal(COORDINATOR, 8, at)) == "busy"
        assert rig.joint.session_refusal(COORDINATOR, SESSION, at) is None


def test_permission_runs_out_so_that_a_new_session_can_begin() -> None:
    rig = Rig()
    at_us = rig.moving(permit_us=8_000_000)
    assert rig.joint.session_refusal(COORDINATOR, 8, at_us + 3_000_000.0) is None


def test_other_coordinator_waits_for_five_seconds_of_silence() -> None:
    rig = Rig()
    rig.drive(1_000)
    assert code(rig.joint.session_refusal(OTHER, SESSION, 5_000_999.0)) == "foreign"
    assert rig.joint.session_refusal(OTHER, SESSION, 5_001_000.0) is None
    rig.joint.heard(5_001_000.0)
    assert code(rig.joint.session_refusal(OTHER, 8, 6_000_000.0)) == "foreign"


def test_new_session_gives_up_the_run_but_keeps_drivers_home_and_stop() -> None:
    rig = Rig()
    at_us = rig.moving(permit_us=1_000_000)
    now = at_us + 3_000_000.0
    assert rig.joint.begin_session(COORDINATOR, SESSION + 1, now)
    status = rig.joint.status(now)
    assert (status.state, status.trajectory, status.sequence, status.map_number) == (
        S.READY,
        0,
        0,
        0,
    )
    assert (status.homed, status.energised, status.homing_number) == (True, True, 0)
    first = rig.joint.drive(Drive(SESSION + 1, 1, mode=Mode.PATH, plan=arm(1)), now)
    assert first is not None
    assert rig.joint.drive(Drive(SESSION, 999), now) is None


def test_same_session_again_changes_nothing() -> None:
    rig = Rig()
    at_us = rig.moving()
    before = rig.status(at_us + 500_000)
    assert not rig.joint.begin_session(COORDINATOR, SESSION, at_us + 500_000.0)
    assert rig.status(at_us + 500_000) == before


def test_latched_stop_outlives_its_session() -> None:
    rig = Rig()
    rig.drive(1_000, stop=StopLevel.STOP)
    rig.joint.begin_session(COORDINATOR, 8, 2_000.0)
    assert rig.status(2_000).stop is StopLevel.STOP
