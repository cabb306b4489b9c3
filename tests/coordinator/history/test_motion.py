"""What a joint did, counted from its statuses."""

from dataclasses import replace

from coordinator.history.motion import MotionCounter
from coordinator.history.quantities import Counts
from protocol.states import JointState
from protocol.status import Status
from tests.coordinator.health.joints import tip

EVERY_US = 40_000


class Told:
    """Statuses every 40 ms, by the angle in degrees."""

    def __init__(self) -> None:
        self.counter = MotionCounter(tip())
        self.now = 1_000_000
        self.last = Status(boot=7, sequence=0, state=JointState.MOVING, homed=True)

    def at(self, *degrees: float, every_us: int = EVERY_US, **values: object) -> None:
        for deg in degrees:
            self.now += every_us
            self.last = replace(self.last, position=tip().to_counts(deg), **values)  # type: ignore[arg-type]
            self.counter.take(self.last, self.now)


def test_time_starts_reversals_and_distance_of_a_turn_to_and_fro() -> None:
    told = Told()
    told.at(0, 0, 0, 1, 2, 2, 2, 1, 0, 1)
    counts = told.counter.drained()
    assert counts.on_us == 9 * EVERY_US
    assert counts.moving_us == 5 * EVERY_US
    assert (counts.starts, counts.reversals) == (2, 2)
    assert abs(counts.distance_udeg - 5_000_000) < 5_000
    assert told.counter.drained() == Counts()


def test_a_joint_that_turns_back_after_a_long_rest_has_turned_back() -> None:
    told = Told()
    told.at(0, 1, *[1] * 50, 0)
    counts = told.counter.drained()
    assert (counts.starts, counts.reversals) == (2, 1)


def test_the_same_status_again_counts_nothing() -> None:
    told = Told()
    told.at(0, 1)
    before = told.counter.drained()
    told.counter.take(told.last, told.now + EVERY_US)
    assert before.starts == 1
    assert told.counter.drained() == Counts()


def test_what_a_joint_did_while_it_was_not_heard_is_counted_nowhere() -> None:
    told = Told()
    told.at(0, 1)
    told.counter.drained()
    told.at(5, every_us=1_000_001)
    assert told.counter.drained() == Counts()
    told.at(4)
    counts = told.counter.drained()
    assert (counts.on_us, counts.starts, counts.reversals) == (EVERY_US, 1, 0)


def test_a_restart_and_a_position_that_was_set_anew_are_no_motion() -> None:
    told = Told()
    told.at(0, 0)
    told.counter.drained()
    told.at(1, boot=8)
    assert told.counter.drained() == Counts()
    told.at(1.5, homed=False)  # a homing begins
    told.at(60)  # faster than it can turn
    assert told.counter.drained() == Counts(on_us=2 * EVERY_US)
    told.at(60.1)
    counts = told.counter.drained()
    assert (counts.starts, counts.reversals) == (1, 0)


def test_counting_goes_on_when_arm_time_begins_anew() -> None:
    told = Told()
    told.at(0, 0)
    told.counter.drained()
    told.now = 0
    told.at(0)
    assert told.counter.drained() == Counts()
    told.at(0)
    assert told.counter.drained().on_us == EVERY_US
