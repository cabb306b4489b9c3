"""What a joint says of itself: reasons, the permit, and which event is sent when."""

from collections.abc import Callable

import pytest

from protocol.drive import Mode, StopLevel
from protocol.messages import Faulted, HomingFailed, Prepare, Stopped
from protocol.points import PointsFrame
from protocol.states import JointState
from protocol.status import Fault, Reason, Status
from tests.simulator.joint.rig import PER_DEGREE, Rig, arm, go, there_and_back

S = JointState
AFTER_US = 1_000_000


def moving() -> tuple[Rig, int, int]:
    """Rig, the start's instant, and an arm time in settled motion."""
    rig = Rig()
    at_us = rig.moving()
    now = at_us + AFTER_US
    assert rig.path(now, go(2, at_us), 8_000_000).state is S.MOVING
    return rig, at_us, now


@pytest.mark.parametrize(
    ("reason", "drive"),
    [
        (Reason.NONE, lambda rig, at_us, now: rig.drive(now)),
        (Reason.NONE, lambda rig, at_us, now: rig.jog(now, 1_000)),
        (Reason.NOT_ARMED, lambda rig, at_us, now: rig.path(now, arm(3))),
        (Reason.NOT_ARMED, lambda rig, at_us, now: rig.path(now, go(1, at_us), 8_000_000)),
        (Reason.NOT_ARMED, lambda rig, at_us, now: rig.path(now, go(2, at_us))),
        (Reason.NOT_ARMED, lambda rig, at_us, now: rig.path(now, go(2, at_us), 1_000)),
        (Reason.LATE, lambda rig, at_us, now: rig.path(now, go(3, now - 1), 8_000_000)),
    ],
    ids=["no plan", "jog", "arm", "lower number", "no permit", "lower permit", "late override"],
)
def test_answer_to_the_drive_that_makes_a_joint_ramp_says_why_it_does_not_comply(
    reason: Reason, drive: Callable[[Rig, int, int], Status]
) -> None:
    rig, at_us, now = moving()
    status = drive(rig, at_us, now)
    assert (status.state, status.plan, status.reason) == (S.RAMPING, 0, reason)
    # The same plan again is not complied with either; a drive without one asks for nothing.
    assert rig.path(now + 1_000, go(4, at_us), 8_000_000).reason is Reason.NOT_ARMED
    assert rig.drive(now + 2_000).reason is Reason.NONE


def test_permit_that_is_reported_is_obeyed_then_where_the_ramp_began_then_the_end() -> None:
    rig = Rig()
    now = rig.prepared()
    assert rig.status(now).permit_us is None
    assert rig.path(now, arm(1)).permit_us is None
    at_us = now + 100_000
    assert rig.path(now, go(2, at_us), 1_000_000).permit_us == 1_000_000
    held = rig.status(at_us + 4_000_000)
    assert (held.state, held.permit_us) == (S.HELD, 1_000_000)
    now = at_us + 4_000_000
    # An arm that is not complied with is not the next arm.
    assert rig.path(now, arm(3, held.path_us - 9)).permit_us == 1_000_000
    assert rig.path(now, arm(4, held.path_us)).permit_us is None
    assert rig.drive(now).state is S.HELD
    assert rig.status(now).permit_us is None
    rig.path(now, arm(5, held.path_us))
    begin_us, again_us = now, now + 100_000
    for now in range(begin_us, again_us + 8_000_000, 100_000):
        status = rig.path(now, go(6, again_us, held.path_us), 8_000_000)
    assert (status.state, status.permit_us, status.path_us) == (S.FINISHED, 8_000_000, 8_000_000)


def loaded() -> tuple[Rig, int]:
    """A homed joint with a trajectory that begins where it stands, not prepared."""
    rig = Rig()
    now = int(rig.home()) + 1_000
    frame = PointsFrame(5, 0, tuple(there_and_back(rig.status(now).position)))
    assert rig.joint.points(frame, rig.now(now)) is None
    return rig, now


def test_jog_leaves_a_loaded_trajectory_which_is_prepared_only_where_it_begins() -> None:
    rig, now = loaded()
    rig.jog(now, 10 * PER_DEGREE)
    status = rig.status(now + 1_000_000)
    assert (status.state, status.trajectory, status.next_index) == (S.READY, 5, 3)
    refusal = rig.joint.request(Prepare(trajectory=5), rig.now(now + 1_000_000))
    assert refusal is not None
    assert refusal.code == "position"


def test_homing_leaves_a_loaded_trajectory() -> None:
    rig, now = loaded()
    now = int(rig.home(now))
    status = rig.status(now)
    assert (status.state, status.trajectory, status.next_index) == (S.READY, 5, 3)
    # The rig's sensor is found 2° ahead of where homing begins: another frame, another place.
    refusal = rig.joint.request(Prepare(trajectory=5), rig.now(now))
    assert refusal is None or refusal.code == "position"


# Events


def levels(rig: Rig) -> list[int]:
    events = rig.joint.take_events()
    assert all(isinstance(event, Stopped) for event in events)
    return [event.level for event in events if isinstance(event, Stopped)]


def test_joint_at_rest_tells_a_stop_once_for_each_rise_of_its_level() -> None:
    rig = Rig()
    for level, told in ((1, [1]), (1, []), (2, [2]), (1, []), (0, []), (3, [3]), (3, [])):
        rig.drive(1_000, stop=StopLevel(level))
        assert levels(rig) == told


def test_moving_joint_tells_a_stop_once_it_rests_with_the_highest_level() -> None:
    rig, _, now = moving()
    rig.joint.take_events()
    for level in (1, 2, 1):
        rig.drive(now, stop=StopLevel(level))
        assert levels(rig) == []
    rig.joint.poll(rig.now(now + 1_000_000))
    assert levels(rig) == [2]


def test_release_is_told_at_once_and_not_again() -> None:
    rig, _, now = moving()
    rig.joint.take_events()
    rig.drive(now, stop=StopLevel.STOP)
    rig.drive(now + 1_000, stop=StopLevel.RELEASE)
    assert levels(rig) == [3]
    rig.joint.poll(rig.now(now + 1_000_000))
    assert levels(rig) == []


def test_joint_that_brakes_for_another_reason_than_a_stop_tells_no_stop() -> None:
    rig, _, now = moving()
    rig.joint.take_events()
    rig.joint.fault(Fault.SUPPLY_LOW, rig.now(now))
    rig.joint.poll(rig.now(now + 1_000_000))
    [fault] = rig.joint.take_events()
    assert isinstance(fault, Faulted)
    rig = Rig()
    rig.jog(1_000, PER_DEGREE)
    rig.drive(100_000)
    assert rig.status(1_000_000).state is S.UNHOMED
    assert levels(rig) == []


@pytest.mark.parametrize("how", ["mode", "expiry", "stop", "release", "fault"])
def test_homing_cut_short_is_told_when_it_is_given_up_before_the_joint_rests(how: str) -> None:
    rig = Rig()
    now = 1_000
    for now in range(1_000, 500_000, 100_000):
        rig.drive(now, mode=Mode.HOME, homing_number=1, expiry_us=now + 250_000)
    given_up_us = now + (250_000 if how == "expiry" else 50_000)
    if how == "fault":
        rig.joint.fault(Fault.SUPPLY_LOW, rig.now(given_up_us))
    elif how == "expiry":
        rig.joint.poll(rig.now(given_up_us))
    else:
        stops = {"stop": StopLevel.STOP, "release": StopLevel.RELEASE}
        rig.drive(given_up_us, stop=stops.get(how, StopLevel.NONE))
    failed, *others = rig.joint.take_events()
    assert isinstance(failed, HomingFailed)
    assert (failed.at_us, failed.homing_number) == (given_up_us, 1)
    assert rig.joint.state is (S.UNHOMED if how == "release" else S.STOPPING)
    kinds: dict[str, list[type]] = {"fault": [Faulted], "release": [Stopped]}
    assert [type(event) for event in others] == kinds.get(how, [])
    rig.joint.poll(rig.now(given_up_us + 1_000_000))
    assert [type(event) for event in rig.joint.take_events()] == (
        [Stopped] if how == "stop" else []
    )


def test_homing_that_finds_nothing_is_told_before_its_fault() -> None:
    rig = Rig()
    now = 1_000
    while rig.status(now).state in (S.UNHOMED, S.HOMING):
        rig.drive(now, mode=Mode.HOME, homing_number=1, expiry_us=now + 250_000)
        now += 100_000
    failed, fault = rig.joint.take_events()
    assert isinstance(failed, HomingFailed)
    assert isinstance(fault, Faulted)
    assert failed.at_us == fault.at_us
    assert rig.status(now).state is S.FAULTED
