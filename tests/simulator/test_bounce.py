"""Joints on a home sensor that bounces, by where their axes truly are."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from protocol.configuration import Configuration
from protocol.drive import Mode
from protocol.messages import Homed
from protocol.states import JointState
from protocol.status import Fault
from simulator.joint.homing import Phase
from tests.bench.homing import WRONG_DEG, homings
from tests.simulator.driven import DRIVE_US, Driven
from tests.simulator.joint.rig import PER_DEGREE, configuration

NOISE_DEG = 0.006


def limits(slow_deg_s: float) -> Configuration:
    slow = round(slow_deg_s * PER_DEGREE)
    return configuration(homing=configuration().homing.model_copy(update={"slow": slow}))


@pytest.mark.parametrize("noise_deg", [0.003, 0.006, 0.012])
@pytest.mark.parametrize("slow_deg_s", [0.5, 2.0])
def test_home_is_found_within_the_noise_however_slowly_and_no_steps_are_lost_after_it(
    slow_deg_s: float, noise_deg: float
) -> None:
    found = homings(6, 1, noise_deg, slow_deg_s, passes=4)
    assert len(found.errors_deg) == 6
    assert max(map(abs, found.errors_deg)) < noise_deg / 3
    assert found.false_losses == 0
    assert min(found.changes) > 10  # the sensor did bounce


def test_one_passage_is_told_for_each_edge_however_often_the_level_changed() -> None:
    joint = Driven(5, NOISE_DEG, limits(2.0))
    assert joint.home()
    [homed] = joint.told
    assert isinstance(homed, Homed)
    assert len(joint.changes) > 100
    assert [(edge.rising, edge.fast) for edge in homed.edges] == [
        (True, True), (False, True), (True, False), (False, False), (True, True),
    ]  # fmt: skip


def test_homing_again_finds_home_where_it_was() -> None:
    joint = Driven(6, NOISE_DEG, limits(2.0))
    assert joint.home()
    for number in range(2, 6):
        joint.told.clear()
        assert joint.home(number)
        [homed] = joint.told
        assert isinstance(homed, Homed)
        assert homed.lost is not None
        assert abs(homed.lost) < NOISE_DEG / 2 * PER_DEGREE


@pytest.mark.parametrize("lost_deg", [0.5, -0.5, 2.0, -2.0])
def test_steps_that_were_lost_are_still_found_at_the_first_edge(lost_deg: float) -> None:
    joint = Driven(7, NOISE_DEG, limits(2.0))
    assert joint.home()
    assert joint.over(20 * PER_DEGREE) is Fault.NONE
    joint.unit.lose_steps(joint.now, round(lost_deg * PER_DEGREE))
    found = [joint.over(-20 * PER_DEGREE) for _ in range(2)]  # its sensor may be further off now
    assert found[-1] is Fault.STEPS_LOST


@settings(max_examples=4)
@given(st.floats(300.0, 90_000.0), st.integers(0, 10**6))
def test_the_sensor_bounces_the_same_however_often_it_is_looked_at(
    poll_us: float, seed: int
) -> None:
    seldom, often = (Driven(seed, NOISE_DEG, limits(2.0), poll_us=one) for one in (1e5, poll_us))
    for joint in (seldom, often):
        assert joint.home()
        assert joint.over(20 * PER_DEGREE) is Fault.NONE
    assert often.changes == seldom.changes
    assert often.unit.joint.shift == seldom.unit.joint.shift


def test_a_joint_that_turns_round_on_its_edge_has_lost_nothing() -> None:
    """Where it rests and turns it is within what the sensor bounces over, either way."""
    joint = Driven(8, NOISE_DEG, limits(2.0))
    assert joint.home()
    edge = PER_DEGREE
    for away in (-200, -100, 0, 100, 200):
        for target in (edge + away, edge + away - 500, edge + away + 500, edge + away):
            end = joint.now + 1_500_000
            while joint.now < end:
                joint.jog_to(target, PER_DEGREE)
                joint.wait(100_000)
            assert joint.drive().faults is Fault.NONE
    assert len(joint.changes) > 200


def test_a_sensor_without_noise_is_the_one_that_there_was() -> None:
    joint = Driven(9, 0.0, limits(2.0))
    assert joint.home()
    assert len(joint.changes) == 5
    assert abs(joint.error_deg()) < WRONG_DEG / 1_000


def test_drop_out_on_the_way_back_to_home_is_no_edge_that_later_ones_are_compared_with() -> None:
    joint = Driven(10, 0.0, limits(2.0))
    mover, hall = joint.unit.joint._mover, joint.unit.joint.hall
    looks = 0
    while joint.drive(mode=Mode.HOME, homing_number=1).state is JointState.HOMING:
        joint.wait(5_000)
        looks += bool(mover.homing and mover.homing.phase is Phase.RETURN and mover.level)
        if looks == 5:  # 0.4° behind the edge, which is another passage
            at = joint.unit.joint_us(joint.now)
            hall(False, at)
            hall(True, at + 1.0)
    assert looks > 5
    for velocity in (20 * PER_DEGREE, -20 * PER_DEGREE, -20 * PER_DEGREE):
        assert joint.over(velocity) is Fault.NONE


def test_blip_beside_the_sensor_is_no_place_to_which_the_next_homing_goes_back() -> None:
    joint = Driven(11, 0.0, limits(2.0))
    assert joint.home()
    assert joint.over(20 * PER_DEGREE) is Fault.NONE
    met = joint.unit.joint._mover._met
    joint.drive(mode=Mode.JOG, jog_velocity=20 * PER_DEGREE)
    joint.wait(DRIVE_US)
    at = joint.unit.joint_us(joint.now)
    for level, later_us in ((True, 0.0), (False, 1.0)):
        joint.unit.joint.hall(level, at + later_us)
    assert joint.unit.joint._mover._met == met


def test_place_that_was_forgotten_does_not_come_back_with_the_end_of_a_passage() -> None:
    joint = Driven(12, 0.0, limits(2.0))
    assert joint.home()
    inner = joint.unit.joint
    at = joint.unit.joint_us(joint.now)
    inner.hall(False, at)
    inner._mover.release(at)
    inner.hall(True, at + 1.0)
    assert inner._mover._met is None
