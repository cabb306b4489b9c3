"""A joint's outputs: when they switch, and what they do on hold, stop and silence, by itself."""

from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocol.configuration import OutputsOff
from protocol.constants import SILENCE_US
from protocol.drive import Mode, StopLevel
from protocol.messages import Configure
from protocol.points import Point
from protocol.states import MOVING_STATES, JointState
from simulator.joint.joint import Joint
from tests.simulator.joint.rig import COORDINATOR, IDENTITY, PER_DEGREE, Rig, arm, configuration, go

ALL = 0b111
LONG = [(0, 0), (4_000_000, 1_000_000), (8_000_000, 0)]


def off(on_hold: int = 0, on_stop: int = 0, on_lost: int = 0) -> OutputsOff:
    return OutputsOff(on_hold=on_hold, on_stop=on_stop, on_lost=on_lost)


def moving(rig: Rig, *switches: tuple[int, int, int]) -> int:
    """The joint moves, with these switches at path times; all outputs are on. The start's time."""
    now = int(rig.home())
    rig.drive(now, output_mask=ALL, output_values=ALL)
    begin = rig.status(now).position
    points = [
        Point(at_us, begin + away, 0, at_us == LONG[-1][0], *_at(at_us, switches))
        for at_us, away in LONG
    ]
    rig.load(points, now)
    rig.path(now, arm(1))
    at_us = now + 100_000
    rig.path(now + 20_000, go(2, at_us), 8_000_000)
    return at_us


def _at(at_us: int, switches: tuple[tuple[int, int, int], ...]) -> tuple[int, int]:
    return next(((mask, values) for at, mask, values in switches if at == at_us), (0, 0))


def drive_on(rig: Rig, at_us: int, until_us: int, permit_us: int = 8_000_000) -> None:
    for now in range(at_us, until_us, 40_000):
        rig.path(now, go(2, at_us), permit_us)


def test_a_hold_switches_off_what_is_to_go_off_and_keeps_the_rest() -> None:
    rig = Rig(outputs_off=off(on_hold=0b001, on_stop=0b010, on_lost=0b100))
    at_us = moving(rig)
    drive_on(rig, at_us, at_us + 1_500_000)
    rig.path(at_us + 1_500_000, go(2, at_us), 1_000_000)
    status = rig.status(at_us + 1_600_000)
    assert (status.state, status.outputs) == (JointState.RAMPING, ALL)
    status = rig.path(at_us + 2_800_000, go(2, at_us), 1_000_000)
    assert (status.state, status.outputs) == (JointState.HELD, 0b110)


@pytest.mark.parametrize("level", [StopLevel.STOP, StopLevel.STOP_AND_RELEASE, StopLevel.RELEASE])
def test_a_stop_switches_off_what_is_to_go_off_once_the_joint_rests(level: StopLevel) -> None:
    rig = Rig(outputs_off=off(on_hold=0b001, on_stop=0b010, on_lost=0b100))
    at_us = moving(rig)
    drive_on(rig, at_us, at_us + 1_500_000)
    status = rig.drive(at_us + 1_500_000, stop=level)
    if status.state is JointState.STOPPING:
        assert status.outputs == ALL
    assert rig.drive(at_us + 2_700_000, stop=level).outputs == 0b101
    at_rest = Rig(outputs_off=off(on_stop=0b010))
    at_rest.drive(1_000, output_mask=ALL, output_values=ALL)
    assert at_rest.drive(2_000, stop=level).outputs == 0b101


def test_silence_switches_off_what_is_to_go_off_and_nothing_else_with_no_coordinator() -> None:
    rig = Rig(outputs_off=off(on_lost=0b100))
    rig.drive(1_000, output_mask=ALL, output_values=ALL)
    assert rig.status(1_000 + SILENCE_US - 1).outputs == ALL
    rig.joint.take_truth()
    assert rig.status(60_000_000).outputs == 0b011
    (truth,) = rig.joint.take_truth()
    assert (truth.event, truth.at, truth.outputs) == ("outputs", 1_000.0 + SILENCE_US, 0b011)


def test_silence_in_motion_switches_off_once_the_joint_rests_by_its_own_rules() -> None:
    rig = Rig(outputs_off=off(on_hold=0b001, on_lost=0b100))
    at_us = moving(rig)
    drive_on(rig, at_us, at_us + 1_000_000)
    rig.joint.take_truth()
    assert rig.status(at_us + 10_000_000).outputs == 0b010
    hold, *outputs = rig.joint.take_truth()
    assert hold.event == "hold"
    assert [truth.at for truth in outputs] == [hold.at, hold.at]


def test_silence_in_motion_counts_anew_for_a_joint_that_is_heard_before_it_rests() -> None:
    rig = Rig(outputs_off=off(on_lost=0b100))
    at_us = moving(rig)
    drive_on(rig, at_us, at_us + 1_000_000)
    heard_us = at_us + 960_000 + SILENCE_US + 50_000
    assert rig.path(heard_us, go(2, at_us), 1_000_000).state is JointState.RAMPING
    rig.joint.take_truth()
    assert rig.status(at_us + 10_000_000).outputs == 0b011
    hold, outputs = rig.joint.take_truth()
    assert hold.event == "hold"
    assert hold.at < outputs.at == rig.now(heard_us) + SILENCE_US


def test_a_fault_alone_and_a_new_session_keep_every_output() -> None:
    rig = Rig(outputs_off=off(on_hold=ALL, on_stop=ALL))
    rig.drive(1_000, output_mask=ALL, output_values=ALL)
    rig.joint.sense(9_000, None, 2_000.0)
    assert rig.status(3_000).state is JointState.FAULTED
    assert rig.status(3_000).outputs == ALL
    rig.joint.begin_session(COORDINATOR, 77, 4_000.0)
    assert rig.status(5_000).outputs == ALL


def test_every_output_is_kept_without_a_word_in_the_configuration() -> None:
    rig = Rig()
    rig.drive(1_000, output_mask=ALL, output_values=ALL)
    rig.drive(2_000, stop=StopLevel.RELEASE)
    assert rig.status(60_000_000).outputs == ALL


def test_a_drive_switches_no_output_of_a_joint_that_moves() -> None:
    rig = Rig()
    now = int(rig.home())
    rig.jog(now, 5 * PER_DEGREE)
    assert rig.status(now + 100_000).state is JointState.JOGGING
    status = rig.drive(now + 100_000, output_mask=1, output_values=1)
    assert (status.state, status.outputs) == (JointState.STOPPING, 0)
    assert rig.drive(now + 900_000, output_mask=1, output_values=1).outputs == 1


def test_a_joint_without_outputs_switches_none() -> None:
    joint = Joint(IDENTITY, outputs=2)
    joint.begin_session(COORDINATOR, 7, 0.0)
    assert joint.request(Configure(configuration=configuration()), 0.0) is None
    rig = Rig()
    rig.joint = joint
    assert rig.drive(1_000, output_mask=0xFF, output_values=0xFF).outputs == 0b11


@given(st.integers(-2, 2))
def test_a_switch_where_a_joint_is_armed_is_not_passed_over_by_rounding(ahead_us: int) -> None:
    # A hold brings the joint to rest near the switch; the arm names where the others stand.
    rig = Rig()
    at_us = moving(rig, (4_000_000, ALL, 0))
    fall_us = 515_825  # of the ramp of v/a = 0.5 s, wire document
    drive_on(rig, at_us, at_us + 6_000_000, 4_000_000 - fall_us + min(ahead_us, 0))
    stand_us = rig.status(at_us + 6_000_000).path_us
    target_us = max(stand_us, 4_000_000)
    assert target_us - stand_us <= 2
    rig.path(at_us + 6_000_000, arm(3, stand_us=target_us))
    assert rig.status(at_us + 6_000_000).outputs == 0


@given(st.sets(st.sampled_from([0, 4_000_000, 8_000_000])), st.booleans(), st.booleans())
def test_whatever_happens_outputs_switch_at_rest_alone(
    switched: set[int], holds: bool, stops: bool
) -> None:
    rig = Rig(outputs_off=off(on_hold=0b001, on_stop=0b010, on_lost=0b100))
    at_us = moving(rig, *((at, ALL, at & ALL) for at in switched))
    rig.joint.take_truth()
    for now in range(at_us, at_us + 12_000_000, 40_000):
        if stops and now > at_us + 3_000_000:
            rig.drive(now, stop=StopLevel.STOP)
        else:
            rig.path(now, go(2, at_us), 2_000_000 if holds else 8_000_000)
        for truth in rig.joint.take_truth():
            velocity = rig.joint.position(rig.now(now))[1]
            resting = rig.joint.state not in MOVING_STATES
            passed = truth.path_us == pytest.approx(round(truth.path_us / 4e6) * 4e6, abs=1)
            assert truth.event != "outputs" or resting or passed, (truth, velocity)


def test_modes_that_are_not_path_switch_at_rest_and_path_does_not() -> None:
    for mode, mask in product(Mode, (0b1, 0b10)):
        rig = Rig()
        status = rig.drive(1_000, mode=mode, output_mask=mask, output_values=mask)
        assert status.outputs == (0 if mode is Mode.PATH else mask)
