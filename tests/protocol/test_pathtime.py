"""Path time: continuous, monotone, invertible, and the same end whatever lies between."""

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from protocol.clockmap import ClockMap
from protocol.constants import PPM
from protocol.pathtime import Course, RateChange
from protocol.ramp import Ramp

ARM_US = st.integers(0, 10**12)
PATH_US = st.integers(0, 10**10)
# As they come over the wire: whole ppm.
RATES = st.one_of(
    st.sampled_from((0.0, 0.05, 0.5, 1.0)), st.integers(0, 1_000_000).map(lambda ppm: ppm / PPM)
)
RAMPS = st.sampled_from([Ramp.for_ratio(ratio) for ratio in (0.05, 0.5, 2.0)])
courses = st.builds(Course, ARM_US, PATH_US, RATES, RATES, RAMPS)
# 10^12 µs in a double is good to 1.2e-4 µs, 10^10 µs to 2e-6 µs.
ARM_ERROR_US = 1e-3
PATH_ERROR_US = 1e-3


@given(courses, st.floats(-5e6, 5e6), st.floats(0.0, 1e5))
def test_path_never_runs_back_nor_faster_than_time(course: Course, at: float, step: float) -> None:
    a, b = course.at_us + at, course.at_us + at + step
    gained = course.at(b)[0] - course.at(a)[0]
    assert -PATH_ERROR_US <= gained <= (b - a) + PATH_ERROR_US


@given(courses)
def test_path_and_rate_are_continuous_where_pieces_meet(course: Course) -> None:
    instants = [course.at_us, course.settled_us]
    instants += [course.at_us + t for t, _ in course.ramp.rows]
    for instant in instants:
        before, after = course.at(instant - 0.01), course.at(instant + 0.01)
        assert after[0] - before[0] == pytest.approx(0.0, abs=0.03)
        assert after[1] == pytest.approx(before[1], abs=1e-5)


@given(courses, st.floats(-5e6, 5e6))
def test_rate_stays_between_its_ends(course: Course, at: float) -> None:
    _, rate = course.at(course.at_us + at)
    low, high = sorted((course.before, course.after))
    assert low - 1e-9 <= rate <= high + 1e-9


@given(courses)
def test_a_change_passes_through_its_instant_and_settles_at_its_rate(course: Course) -> None:
    assert course.at(course.at_us) == (course.path_us, course.before)
    path, rate = course.at(course.settled_us)
    assert rate == pytest.approx(course.after, abs=1e-9)
    assert path == pytest.approx(course.settled_path_us, abs=PATH_ERROR_US)


@given(courses, st.floats(-5e6, 5e6))
def test_when_is_the_inverse_of_at(course: Course, at: float) -> None:
    arm = course.at_us + at
    path, rate = course.at(arm)
    assume(rate > 1e-3)
    found = course.when(path)
    assert found is not None
    assert found == pytest.approx(arm, abs=ARM_ERROR_US / rate)


@given(courses, st.floats(-5e6, 5e6))
def test_at_is_the_inverse_of_when(course: Course, offset: float) -> None:
    path = course.path_us + offset
    arm = course.when(path)
    if arm is None:
        rests_before = course.after == 0.0 and path > course.settled_path_us
        assert rests_before or (course.before == 0.0 and path < course.path_us)
    else:
        assert course.at(arm)[0] == pytest.approx(path, abs=PATH_ERROR_US)


@given(ARM_US, PATH_US, st.floats(0.01, 1.0), RAMPS)
def test_a_fall_reaches_its_end_when_it_comes_to_rest(
    at: int, path: int, rate: float, ramp: Ramp
) -> None:
    course = Course(at, path, rate, 0.0, ramp)
    arm = course.when(course.settled_path_us)
    assert arm is not None
    # Near rest an error of 2e-6 µs of path is its root in time.
    assert arm == pytest.approx(course.settled_us, abs=5.0)
    assert course.when(course.settled_path_us + 1.0) is None


@given(ARM_US, PATH_US, RATES, RATES, RATES, RAMPS)
def test_the_end_is_the_same_whatever_rate_lies_between(
    at: int, path: int, a: float, b: float, c: float, ramp: Ramp
) -> None:
    """Falling from rate a to c, with or without a change at b on the way, covers the same path
    in the same time; so it does upwards.
    """
    low, middle, high = sorted((a, b, c))
    for first, last in ((high, low), (low, high)):
        whole = Course(at, path, first, last, ramp)
        half = Course(at, path, first, middle, ramp)
        rest = Course(half.settled_us, half.settled_path_us, middle, last, ramp)
        assert rest.settled_path_us == pytest.approx(whole.settled_path_us, abs=PATH_ERROR_US)
        assert rest.settled_us == pytest.approx(whole.settled_us, abs=ARM_ERROR_US)


maps = st.builds(
    ClockMap, st.just(1), ARM_US, st.integers(0, 10**12), st.integers(-100_000, 100_000)
)


@given(courses, st.floats(0.0, 4e6), st.lists(maps, min_size=2, max_size=4))
def test_all_that_obey_one_permit_end_at_one_path_time_whatever_their_clocks(
    course: Course, ahead: float, joints: list[ClockMap]
) -> None:
    permit = course.path_us + round(ahead)
    arm = course.when(permit)
    assume(arm is not None)
    assert arm is not None
    _, rate = course.at(arm)
    for clock_map in joints:
        # Each gets there by a timer on its own clock, and reads arm time back from it.
        read = clock_map.to_arm(clock_map.to_joint(arm))
        end = course.fall(read, permit).settled_path_us
        assert end == pytest.approx(permit + course.ramp.fall_path(rate), abs=0.01)


@given(courses, st.floats(-1e6, 4e6))
def test_a_fall_leaves_its_course_without_a_jump_and_never_overtakes_it(
    course: Course, at: float
) -> None:
    arm = course.at_us + at
    fall = course.fall(arm)
    here, rate = course.at(arm)
    assert fall.at(arm) == (here, rate)
    # Where the course itself is slowing down the ramp is the same curve; else it is below.
    for later in (1e3, 1e5, 1e6):
        assert fall.at(arm + later)[0] <= course.at(arm + later)[0] + PATH_ERROR_US
    assert fall.after == 0.0


def test_a_change_from_the_wire_is_the_same_course() -> None:
    ramp = Ramp.for_ratio(0.5)
    course = Course.of(RateChange(1_000, 2_000, 50_000, 1_000_000), ramp)
    assert (course.at_us, course.path_us, course.before, course.after) == (1e3, 2e3, 0.05, 1.0)


def test_equal_rates_before_and_after_change_nothing() -> None:
    course = Course(1_000, 500, 0.5, 0.5, Ramp.for_ratio(0.5))
    assert course.settled_us == 1_000
    assert course.at(3_000) == (1_500, 0.5)
    assert course.when(1_500) == 3_000
