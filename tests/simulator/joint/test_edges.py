"""A homed joint compares where its home sensor switches with the last homing (design I9)."""

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocol.drive import Mode
from protocol.messages import Clear, Faulted, Homed
from protocol.points import Point
from protocol.states import JointState
from protocol.status import Fault
from simulator.edges import next_edge
from simulator.joint.edges import HomeEdges, Passage, passage, tolerance
from simulator.joint.homing import Homing
from simulator.joint.passages import STILL, Passing
from simulator.physics.hall import HallSensor
from tests.simulator.joint.rig import PER_DEGREE, Rig, arm, configuration, go

S = JointState
TURN = 360 * PER_DEGREE


class Sensed:
    """A homed rig with a sensor between 2° and 4°, exact while it homes and jogs."""

    def __init__(self, *, endless: bool = False) -> None:
        self.rig = Rig(range_low=None, range_high=None) if endless else Rig()
        self.sensor = HallSensor(3 * PER_DEGREE, PER_DEGREE, period=TURN)
        self.slipped = 0.0
        self.now = 1_000
        self.homed = self.home()

    @property
    def offset(self) -> float:
        """True position minus what the joint believes."""
        return self.slipped - self.rig.joint.shift

    def home(self) -> Homed:
        joint = self.rig.joint
        number = joint.status(self.now).homing_number + 1
        while True:
            status = self.rig.drive(
                self.now, mode=Mode.HOME, homing_number=number, expiry_us=self.now + 250_000
            )
            if status.state is not S.HOMING:
                [homed] = joint.take_events()
                assert isinstance(homed, Homed)
                return homed
            self.wait(200_000)

    def search(self, us: int) -> None:
        """Home for a while, then be cut short and come to rest."""
        number = self.rig.status(self.now).homing_number + 1
        for _ in range(us // 100_000):
            self.rig.drive(
                self.now, mode=Mode.HOME, homing_number=number, expiry_us=self.now + 250_000
            )
            self.wait(100_000)
        assert self.rig.drive(self.now).state is S.STOPPING
        self.wait(1_000_000)
        assert self.rig.status(self.now).state is S.UNHOMED

    def wait(self, us: int) -> None:
        """Let time pass in free motion or at rest."""
        joint, end = self.rig.joint, self.now + us
        while True:
            found = next_edge(joint.motion, self.sensor, self.offset, joint.hall_level, self.now)
            due_us = min(joint.next_deadline() or math.inf, end)
            if found is not None and found[0] <= due_us:
                self.now = math.ceil(found[0])
                joint.hall(found[1], found[0])
            elif due_us < end:
                self.now = math.ceil(due_us)
                joint.poll(self.now)
            else:
                break
        self.now = end
        joint.poll(end)

    def jog(self, velocity: int, us: int) -> None:
        end = self.now + us
        while self.now < end and self.rig.joint.state is not S.STOPPING:
            self.rig.jog(self.now, velocity)
            self.wait(100_000)
        self.rig.jog(self.now, 0)
        self.wait(1_000_000)


def test_joint_that_lost_nothing_passes_its_sensor_as_often_as_it_likes() -> None:
    sensed = Sensed()
    for velocity in (20, -20, 60, -60, 3, -3):
        sensed.jog(velocity * PER_DEGREE, 4_000_000)
    status = sensed.rig.status(sensed.now)
    assert status.state is S.READY
    assert status.homed
    assert status.faults is Fault.NONE


def test_steps_lost_are_found_at_the_next_edge_in_a_jog_and_end_it() -> None:
    sensed = Sensed()
    sensed.jog(-20 * PER_DEGREE, 1_000_000)
    sensed.slipped = 0.5 * PER_DEGREE
    sensed.jog(20 * PER_DEGREE, 2_000_000)
    status = sensed.rig.status(sensed.now)
    assert status.state is S.FAULTED
    assert status.faults is Fault.STEPS_LOST
    assert not status.homed
    # Braked at once: 20 °/s at 120 °/s² takes 20²/240°, from 1° before home and 0.5° early.
    assert status.position / PER_DEGREE == pytest.approx(-1.5 + 20**2 / 240, abs=0.01)
    [fault] = sensed.rig.joint.take_events()
    assert isinstance(fault, Faulted)
    assert fault.fault == "steps-lost"
    said = [float(word) for word in re.findall(r"-?\d[\d.]*", fault.message)]
    allowed = 4096 + 100e-6 * 40 * PER_DEGREE
    expected = [-1.5 * PER_DEGREE, 0.5 * PER_DEGREE, 0.5, allowed]
    assert said == pytest.approx(expected, abs=1)
    assert " 0.50° " in fault.message
    assert fault.message.startswith("steps were lost: the home sensor switched on at ")


def test_steps_lost_are_found_on_the_path_and_end_the_run() -> None:
    rig = Rig()
    begin = rig.status(rig.home()).position
    now = int(rig.now(20_000_000))
    rig.load([Point(0, begin, 0), Point(4_000_000, begin + 60 * PER_DEGREE, 0, last=True)], now)
    rig.path(now, arm(1))
    at_us = now + 100_000
    rig.path(now + 10_000, go(2, at_us), 8_000_000)
    assert rig.path(at_us + 1_400_000, go(2, at_us), 8_000_000).state is S.MOVING
    # It rested on the sensor, whose edge lies 1° ahead; by now it is far beyond.
    rig.joint.hall(False, rig.now(at_us + 1_500_000))
    assert rig.status(at_us + 1_500_000).state is S.STOPPING
    status = rig.status(at_us + 3_000_000)
    assert (status.state, status.trajectory, status.homed) == (S.FAULTED, 0, False)
    assert status.faults is Fault.STEPS_LOST


def test_steps_lost_at_rest_are_found_when_the_sensor_switches() -> None:
    sensed = Sensed()
    sensed.rig.joint.hall(False, sensed.now)
    status = sensed.rig.status(sensed.now)
    assert (status.state, status.homed) == (S.FAULTED, False)
    assert status.faults is Fault.STEPS_LOST


def test_lost_steps_are_lifted_by_clear_and_cured_by_homing() -> None:
    sensed = Sensed()
    sensed.jog(-20 * PER_DEGREE, 1_000_000)
    sensed.slipped = 0.5 * PER_DEGREE
    sensed.jog(20 * PER_DEGREE, 2_000_000)
    sensed.rig.joint.take_events()
    assert sensed.rig.joint.request(Clear(), sensed.now) is None
    assert sensed.rig.status(sensed.now).state is S.UNHOMED
    assert sensed.home().lost is None
    sensed.jog(-20 * PER_DEGREE, 1_000_000)
    sensed.jog(20 * PER_DEGREE, 2_000_000)
    assert sensed.rig.status(sensed.now).faults is Fault.NONE


@pytest.mark.parametrize("lost", [0, 1_000, -40_000])
def test_homing_anew_says_by_how_much_a_homed_joint_was_wrong(lost: int) -> None:
    sensed = Sensed()
    assert sensed.homed.lost is None
    sensed.slipped = lost
    again = sensed.home()
    assert again.lost == pytest.approx(lost, abs=1)
    assert again.shift == again.lost


def test_shift_of_a_homing_a_turn_further_on_is_no_loss() -> None:
    sensed = Sensed(endless=True)
    # Over a turn before where it was met last: the search comes to the sensor a turn earlier.
    sensed.jog(-60 * PER_DEGREE, 7_000_000)
    again = sensed.home()
    assert abs(again.shift) == pytest.approx(TURN, abs=1)
    assert again.lost == pytest.approx(0, abs=1)


def test_joint_that_turns_without_end_is_checked_every_turn() -> None:
    sensed = Sensed(endless=True)
    sensed.jog(60 * PER_DEGREE, 20_000_000)
    assert sensed.rig.status(sensed.now).position > 3 * TURN
    assert sensed.rig.status(sensed.now).faults is Fault.NONE
    sensed.slipped = -9_000.0
    sensed.jog(60 * PER_DEGREE, 7_000_000)
    assert sensed.rig.status(sensed.now).faults is Fault.STEPS_LOST


@pytest.mark.parametrize(
    ("endless", "for_us", "goes_on"),
    [(True, 2_000_000, True), (True, 300_000, False), (False, 2_000_000, False)],
)
def test_a_search_that_was_cut_short_behind_the_place_goes_on_from_there_where_it_has_no_end(
    endless: bool, for_us: int, goes_on: bool
) -> None:
    """8° were lost, so that the sensor is not where it was met. A joint that turns without end
    meets it all the same; one with a range might have run against its end.
    """
    sensed = Sensed(endless=endless)
    sensed.slipped = 8.0 * PER_DEGREE
    sensed.wait(100_000)
    assert sensed.rig.joint.request(Clear(), sensed.now) is None
    sensed.search(for_us)
    left_at = sensed.rig.status(sensed.now).position
    sensed.search(100_000)
    assert (sensed.rig.status(sensed.now).position > left_at) == goes_on


LIMITS = Rig().configuration
FOUND = {
    Passage(True, True): 0.0,
    Passage(False, True): 900.0,
    Passage(True, False): 850.0,
    Passage(False, False): -50.0,
}


@given(
    st.sampled_from(list(FOUND)),
    st.floats(STILL, 3e6),
    st.integers(-5, 5),
    st.floats(-TURN / 3, TURN / 3),
)
def test_what_is_beyond_the_tolerance_is_found_and_what_is_within_is_not(
    kind: Passage, speed: float, turns: int, away: float
) -> None:
    edges = HomeEdges()
    edges.learn(FOUND, 10_000)
    velocity = speed if kind.upwards else -speed
    position = FOUND[kind] + 10_000 + turns * TURN + away
    found = edges.astray(kind.rising, position, velocity, LIMITS)
    assert (found is not None) == (abs(away) > tolerance(velocity, LIMITS))


WIDE = {
    Passage(True, True): 0.0,
    Passage(False, True): 2.0 * PER_DEGREE,
    Passage(True, False): 1.8 * PER_DEGREE,
    Passage(False, False): -0.2 * PER_DEGREE,
}
"""A sensor of 2° with 0.2° of hysteresis: further apart than is tolerated at a slow speed."""


@pytest.mark.parametrize("kind", WIDE)
@pytest.mark.parametrize("other", WIDE)
def test_edge_is_compared_with_the_one_of_the_same_change_and_direction_alone(
    kind: Passage, other: Passage
) -> None:
    edges = HomeEdges()
    edges.learn(WIDE, 0)
    velocity = PER_DEGREE if kind.upwards else -PER_DEGREE
    found = edges.astray(kind.rising, WIDE[other], velocity, LIMITS)
    assert (found is None) == (kind is other)


@pytest.mark.parametrize("slipped", [2 * PER_DEGREE, -2 * PER_DEGREE])
def test_slip_by_the_width_of_the_sensor_is_found_at_the_first_edge(slipped: int) -> None:
    """The sensor then switches on where it switched off while homing, or the other way round."""
    sensed = Sensed()
    sensed.jog(-20 * PER_DEGREE, 1_000_000)
    sensed.slipped = slipped
    sensed.jog(20 * PER_DEGREE, 3_000_000)
    [fault] = sensed.rig.joint.take_events()
    assert isinstance(fault, Faulted)
    assert "the home sensor switched on at" in fault.message


def test_tolerance_is_a_full_step_and_what_the_timing_of_both_passages_may_misplace() -> None:
    # 16 microsteps × 256; 100 µs at 60 °/s and at homing's 20 °/s are 0.008°.
    assert tolerance(-60 * PER_DEGREE, LIMITS) == pytest.approx(4_096 + 0.008 * PER_DEGREE)


def test_joint_that_stands_still_may_be_on_any_edge() -> None:
    assert passage(True, STILL - 1.0) is None
    edges = HomeEdges()
    edges.learn(FOUND, 0)
    for position in FOUND.values():
        assert edges.astray(True, position, 0.0, LIMITS) is None
    assert edges.astray(True, 20_000.0, 0.0, LIMITS)
    assert HomeEdges().astray(True, 20_000.0, 0.0, LIMITS) is None


def test_next_homing_begins_before_the_place_where_the_rising_edge_was_met_last_and_slowly() -> (
    None
):
    limits = configuration()
    homing = Homing(1, limits, 0.0, level=False, now=0.0)
    passing = Passing()

    def switches(level: bool, now: float) -> None:
        passing.change(*homing.motion.at(now), limits)
        homing.edge(level, passing, now)

    switches(True, 1_000_000.0)
    fast = homing.edges[0].position
    homing.rested(homing.motion.end_us)
    backed_off_us = homing.motion.end_us
    switches(False, backed_off_us - 1_000.0)
    homing.rested(backed_off_us)
    switches(True, backed_off_us + 600_000.0)
    slow = homing.edges[2].position
    assert slow != fast
    assert homing.met is not None
    assert round(homing.met) == slow
