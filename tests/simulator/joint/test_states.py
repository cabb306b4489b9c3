"""Every transition of the table in `protocol.states` is reached by real inputs, and no other."""

from collections.abc import Callable

import pytest

from protocol.drive import Mode, StopLevel
from protocol.messages import Clear, Configure, Discard, Finished
from protocol.states import TRANSITIONS, JointState, Trigger
from protocol.status import Fault
from tests.simulator.joint.rig import PER_DEGREE, RAMP, Rig, arm, go, there_and_back

S, T = JointState, Trigger


def reach(state: JointState) -> tuple[Rig, int]:
    """A rig whose joint has just come into a state, and the arm time."""
    rig = Rig()
    now = 2_000
    if state is S.UNHOMED:
        rig.drive(now)
    elif state is S.HOMING:
        rig.drive(now, mode=Mode.HOME, homing_number=1, expiry_us=now + 250_000)
    elif state is S.READY:
        now = int(rig.home())
    elif state is S.PREPARED:
        now = rig.prepared()
    elif state is S.ARMED:
        now = rig.prepared()
        rig.path(now, arm(1))
    elif state is S.MOVING:
        now = rig.moving() + 500_000
        rig.path(now, go(2, now - 500_000), 8_000_000)
    elif state is S.RAMPING:
        now = rig.moving() + 1_000_000
        rig.path(now, arm(3))
        now += 10_000
    elif state is S.HELD:
        now, _ = rig.held()
    elif state is S.ADVANCING:
        now, path_us = rig.held()
        rig.path(now, arm(3, path_us + 50_000))
        now += 100_000
    elif state is S.FINISHED:
        at_us = rig.moving()
        now = at_us
        while rig.status(now).state is not S.FINISHED:
            now += 500_000
            rig.path(now, go(2, at_us), 8_000_000)
    elif state is S.JOGGING:
        now = int(rig.home())
        rig.jog(now, 10 * PER_DEGREE)
        now += 200_000
    elif state is S.STOPPING:
        now = int(rig.home())
        rig.jog(now, 10 * PER_DEGREE)
        now += 200_000
        rig.drive(now)
        now += 1_000
    else:
        now = int(rig.home())
        rig.joint.fault(Fault.SUPPLY_LOW, rig.now(now))
    assert rig.status(now).state is state, rig.status(now)
    return rig, now


Act = Callable[[Rig, int], object]


def request(message: Clear | Discard | Configure) -> Act:
    def act(rig: Rig, now: int) -> None:
        assert rig.joint.request(message, rig.now(now)) is None

    return act


def arm_ahead_by(us: int) -> Act:
    return lambda rig, now: rig.path(now, arm(20, rig.status(now).path_us + us))


def start(rig: Rig, now: int) -> None:
    rig.path(now, go(2, now + 50_000), 1_000_000)
    rig.joint.poll(rig.now(now + 50_000))


def turn_otherwise(rig: Rig, now: int) -> None:
    other = rig.configuration.model_copy(update={"counts_per_turn": 1})
    request(Configure(configuration=other))(rig, now)


def clear_with_lost_steps(rig: Rig, now: int) -> None:
    rig.joint.fault(Fault.STEPS_LOST, rig.now(now))
    request(Clear())(rig, now)


def home(rig: Rig, now: int) -> None:
    rig.drive(now, mode=Mode.HOME, homing_number=9, expiry_us=now + 250_000)


ACTS: dict[Trigger, Act] = {
    T.HOME: home,
    T.PREPARE: lambda rig, now: rig.load(there_and_back(rig.status(now).position), now),
    T.DISCARD: request(Discard()),
    T.ARM_HERE: arm_ahead_by(0),
    T.ARM_AHEAD: arm_ahead_by(50_000),
    T.DISARM_START: lambda rig, now: rig.drive(now),
    T.START: start,
    T.JOG: lambda rig, now: rig.jog(now, PER_DEGREE),
    T.STOP: lambda rig, now: rig.drive(now, stop=StopLevel.STOP),
    T.RELEASE: lambda rig, now: rig.drive(now, stop=StopLevel.RELEASE),
    T.FAULT: lambda rig, now: rig.joint.fault(Fault.SUPPLY_LOW, rig.now(now)),
    T.CLEAR_HOMED: request(Clear()),
    T.CLEAR_UNHOMED: clear_with_lost_steps,
    T.RAMP: lambda rig, now: rig.drive(now),
    T.REST: lambda rig, now: rig.status(now + 2_000_000),
    T.REST_HOMED: lambda rig, now: rig.status(now + 2_000_000),
    T.UNHOME: turn_otherwise,
}
BELOW = {
    (S.HOMING, T.HOMED),
    (S.ADVANCING, T.ARRIVED),
    (S.ADVANCING, T.LAST_POINT),
    (S.MOVING, T.LAST_POINT),
    (S.RAMPING, T.LAST_POINT),
    (S.STOPPING, T.REST_UNHOMED),
    (S.STOPPING, T.REST_FAULT),
    (S.ARMED, T.DISARM_PATH),
    (S.HELD, T.LAST_POINT),
    (S.ARMED, T.LAST_POINT),
}
"""Transitions that need more than a state and one act: a test each."""


@pytest.mark.parametrize(
    ("state", "trigger"),
    [pair for pair in TRANSITIONS if pair not in BELOW],
    ids=lambda value: value.name.lower(),
)
def test_transition_is_taken_on_real_input(state: JointState, trigger: Trigger) -> None:
    rig, now = reach(state)
    ACTS[trigger](rig, now)
    assert rig.joint.state is TRANSITIONS[state, trigger]


def test_homing_ends_ready() -> None:
    rig = Rig()
    now = rig.home()
    assert rig.status(now).state is S.READY


def test_advance_arrives_armed_at_exactly_the_plan_s_path_time() -> None:
    rig, now = reach(S.HELD)
    goal_us = rig.status(now).path_us + 20_000
    while not (status := rig.path(now, arm(3, goal_us))).plan:
        assert status.state is S.ADVANCING
        now += 40_000
    assert (status.state, status.plan, status.path_us) == (S.ARMED, 3, goal_us)


def test_last_point_is_reached_in_motion_in_a_ramp_and_by_an_advance() -> None:
    rig, _ = reach(S.FINISHED)
    [finish] = [truth for truth in rig.joint.take_truth() if truth.event == "finish"]
    for early_us, state in ((100_000, S.RAMPING), (300_000, S.RAMPING)):
        rig = Rig()
        at_us = rig.moving()
        end_us = at_us + 8_000_000 + round(RAMP.duration_us - RAMP.path_us)
        now = at_us
        while now < end_us - early_us:
            rig.path(now, go(2, at_us), 8_000_000)
            now += 40_000
        rig.drive(now)
        assert rig.joint.state is state
        rig.status(now + 2_000_000)
        assert rig.joint.state is S.FINISHED
        assert rig.status(now + 2_000_000).position == round(finish.position)
    now, last_us = now + 2_000_000, 8_000_000
    rig = Rig()
    at_us = rig.moving(permit_us=7_400_000)
    for now in range(at_us, at_us + 9_000_000, 40_000):
        rig.path(now, go(2, at_us), 7_400_000)
    assert rig.joint.state is S.HELD
    for now in range(at_us + 9_000_000, at_us + 14_000_000, 40_000):
        status = rig.path(now, arm(3, last_us))
        if status.state is S.FINISHED:
            break
        assert status.state is S.ADVANCING
    assert (status.state, status.position) == (S.FINISHED, round(finish.position))


@pytest.mark.parametrize("armed_first", [False, True])
def test_joint_that_stands_as_good_as_at_the_last_point_finishes_when_armed_there(
    armed_first: bool,
) -> None:
    """Another that computed a little otherwise came to rest at that point itself."""
    rig = Rig()
    at_us = rig.moving(permit_us=8_000_000)
    # The ramp of a permit that covers 8 s − 1 µs.
    permit_us = 7_999_999 - round(RAMP.path_us)
    for now in range(at_us, at_us + 9_500_000, 100_000):
        status = rig.path(now, go(2, at_us), permit_us)
    assert (status.state, status.path_us) == (S.HELD, 7_999_999)
    now = at_us + 10_000_000
    if armed_first:
        assert rig.path(now, arm(3, 7_999_998)).state is S.ARMED
        now += 1_000
    rig.joint.take_events()
    status = rig.path(now, arm(4, 8_000_000))
    assert (status.state, status.plan, status.path_us) == (S.FINISHED, 0, 8_000_000)
    [finished] = rig.joint.take_events()
    assert isinstance(finished, Finished)
    assert (finished.at_us, finished.position) == (now, status.position)


def test_stopping_ends_by_what_is_known_of_the_position_and_by_faults() -> None:
    rig = Rig()
    rig.jog(2_000, PER_DEGREE)
    rig.drive(100_000)
    assert rig.joint.state is S.STOPPING
    assert rig.status(3_000_000).state is S.UNHOMED
    rig, now = reach(S.JOGGING)
    rig.joint.fault(Fault.DRIVER, rig.now(now))
    assert rig.joint.state is S.STOPPING
    assert rig.status(now + 2_000_000).state is S.FAULTED


def test_disarming_further_on_leaves_the_joint_held() -> None:
    rig, now = reach(S.HELD)
    rig.path(now, arm(3, rig.status(now).path_us))
    assert rig.joint.state is S.ARMED
    assert rig.drive(now + 1_000).state is S.HELD
