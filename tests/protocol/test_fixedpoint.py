"""The law of path time in whole numbers: as exact as permitted, and never beyond 64 bits."""

from collections.abc import Callable
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from protocol.clockmap import ArmClock, ClockMap
from protocol.configuration import MAX_RAMP_US
from protocol.constants import CLOCK_ERROR_US, MAX_INTEGER, PATH_ERROR_US, PPM
from protocol.fixedpoint import FAR, ONE_US, WholeClock, WholeCourse, WholeRamp, run, unrun
from protocol.pathtime import Course, RateChange
from protocol.ramp import Ramp, Row
from tests.protocol.pages import vectors

SEEN_US = 0.02
"""No error of more was ever seen with an arm's own ramp: far below what is permitted."""
FURTHEST = 2**63


class Whole(int):
    """An integer that may not leave a signed 64-bit one, whatever is made of it."""

    def __new__(cls, value: int) -> "Whole":
        assert -FURTHEST <= value < FURTHEST, f"{value} does not fit 64 bits"
        return super().__new__(cls, value)


def _within(name: str) -> Callable[..., Any]:
    plain = getattr(int, name)

    def operate(*operands: int) -> Any:
        found = plain(*operands)
        if isinstance(found, tuple):
            return tuple(Whole(one) for one in found)
        return found if found is NotImplemented else Whole(found)

    return operate


for _name in ("add", "sub", "mul", "floordiv", "mod", "divmod"):
    for _side in ("", "r"):
        setattr(Whole, f"__{_side}{_name}__", _within(f"__{_side}{_name}__"))
for _name in ("neg", "abs"):
    setattr(Whole, f"__{_name}__", _within(f"__{_name}__"))

ratios = st.floats(0.001, 18.0)
"""Largest v/a, in seconds; the last makes a ramp of nearly the longest allowed."""
rates = st.one_of(st.sampled_from([50_000, PPM]), st.integers(50_000, PPM))
changes = st.builds(
    RateChange, st.integers(0, 2**40), st.integers(0, 2**40), st.just(0) | rates, rates
)


def courses(ratio: float, change: RateChange) -> tuple[Course, WholeCourse]:
    ramp = Ramp.for_ratio(ratio)
    assert ramp.duration_us <= MAX_RAMP_US
    whole = WholeCourse.of(change, WholeRamp(list(ramp.rows)))
    return Course.of(change, ramp), whole


@given(ratios, changes, st.integers(-(10**6), 10**8))
def test_path_time_is_as_exact_as_permitted(ratio: float, change: RateChange, later: int) -> None:
    course, whole = courses(ratio, change)
    arm_us = change.at_us + later
    assert abs(whole.path_at(ONE_US * arm_us) / ONE_US - course.at(arm_us)[0]) < SEEN_US
    assert SEEN_US < PATH_ERROR_US
    assert abs(whole.settled / ONE_US - course.settled_us) < SEEN_US


@given(ratios, changes, st.integers(-(10**6), 10**8))
def test_instant_of_a_path_time_is_as_exact_in_path_time(
    ratio: float, change: RateChange, ahead: int
) -> None:
    course, whole = courses(ratio, change)
    path_us = change.path_us + ahead
    arm = whole.when(ONE_US * path_us)
    assert (arm is None) == (course.when(path_us) is None)
    if arm is not None:
        assert abs(course.at(arm / ONE_US)[0] - path_us) < SEEN_US


@given(ratios, changes, st.integers(1, 10**8))
def test_rest_after_a_permit_is_the_same_whole_path_time_or_one_that_is_tolerated(
    ratio: float, change: RateChange, ahead: int
) -> None:
    """Two joints that obey one permit, one of which has no doubles."""
    course, whole = courses(ratio, change)
    permit_us = change.path_us + ahead
    by_doubles, arm = course.when(permit_us), whole.when(ONE_US * permit_us)
    assert by_doubles is not None
    assert arm is not None
    fall = whole.fall(arm, ONE_US * permit_us)
    rest_us = course.fall(by_doubles, permit_us).settled_path_us
    assert abs(fall.settled_path / ONE_US - rest_us) < SEEN_US
    assert abs((fall.settled_path + ONE_US // 2) // ONE_US - round(rest_us)) <= 1


@given(
    st.integers(-300_000, 300_000),
    st.lists(
        st.tuples(st.integers(-4_000, 4_000), st.integers(-300_000, 300_000), st.booleans()),
        max_size=4,
    ),
    st.integers(0, 30_000_000),
)
def test_arm_clock_is_as_exact_as_permitted(
    ppb: int, later: list[tuple[int, int, bool]], after_us: int
) -> None:
    first = ClockMap(1, 5_000_000_000, 60_000_000, ppb)
    clock, whole = ArmClock(first), WholeClock(first)
    joint_us = 60_000_000
    for number, (off_us, rate_ppb, at_rest) in enumerate(later, start=2):
        joint_us += 1_000_000
        taken = ClockMap(number, round(clock.arm(joint_us)) + off_us, joint_us, rate_ppb)
        clock.accept(taken, joint_us, jump=at_rest)
        whole.accept(taken, ONE_US * joint_us, jump=at_rest)
    joint_us += after_us
    assert SEEN_US < CLOCK_ERROR_US
    assert abs(whole.arm(ONE_US * joint_us) / ONE_US - clock.arm(joint_us)) < SEEN_US
    assert abs(whole.remainder(ONE_US * joint_us) / ONE_US - clock.remainder_us(joint_us)) < SEEN_US
    again = whole.joint(whole.arm(ONE_US * joint_us))
    assert abs(again / ONE_US - joint_us) < SEEN_US


anything = st.integers(-MAX_INTEGER, MAX_INTEGER)
rows = st.lists(
    st.tuples(st.integers(1, MAX_RAMP_US - 1), st.integers(1, PPM - 1)), max_size=8
).map(lambda found: _growing([(0, 0), *found, (MAX_RAMP_US, PPM)]))


def _growing(found: list[Row]) -> list[Row]:
    times = sorted({time for time, _ in found})
    ppms = sorted({ppm for _, ppm in found})
    count = min(len(times), len(ppms)) - 1
    return [*zip(times[:count], ppms[:count], strict=True), (times[-1], ppms[-1])]


@given(rows, anything, anything, st.just(0) | rates, rates, anything, anything)
def test_nothing_that_a_drive_can_carry_leaves_64_bits(
    table: list[Row], at: int, path: int, before: int, after: int, arm: int, goal: int
) -> None:
    ramp = WholeRamp([(Whole(time), Whole(ppm)) for time, ppm in table])
    change = RateChange(Whole(at), Whole(path), Whole(before), Whole(after))
    course = WholeCourse.of(change, ramp)
    for when in (
        arm,
        MAX_INTEGER,
        -MAX_INTEGER,
        at - 1,
        at + 1,
        at + 1_000,
        at + MAX_RAMP_US,
        at + 2**40,
    ):
        course.path_at(Whole(ONE_US * when))
    ends = (MAX_INTEGER, -MAX_INTEGER)
    for there in (goal, *ends, path - 1, path + 1, path + 10**6, path + 2**40):
        found = course.when(Whole(ONE_US * there))
        if found is not None:
            course.fall(found, Whole(ONE_US * there)).settled_path  # noqa: B018


@given(anything, anything, st.integers(-300_000, 300_000), anything, st.integers(0, 10_000))
def test_no_map_and_no_clock_leaves_64_bits(
    arm: int, joint: int, ppb: int, now: int, later: int
) -> None:
    clock_map = ClockMap(1, Whole(arm), Whole(joint), Whole(ppb))
    clock = WholeClock(clock_map)
    clock.map_to_joint(Whole(ONE_US * now))
    clock.arm(Whole(ONE_US * now))
    near = Whole(ONE_US * (joint + later))
    clock.accept(ClockMap(2, Whole(arm + 4_000), Whole(joint), Whole(-ppb)), near, jump=False)
    clock.joint(clock.arm(near))


@given(st.integers(0, FAR), rates)
def test_time_of_a_steady_rate_is_the_inverse_of_its_path(path: int, ppm: int) -> None:
    assert 0 <= path - run(unrun(path, ppm), ppm) <= 1


@given(rows, st.integers(0, MAX_RAMP_US * ONE_US))
def test_path_never_falls_and_its_time_is_the_latest(table: list[Row], time: int) -> None:
    ramp = WholeRamp(table)
    time = min(time, ONE_US * table[-1][0] - 1)
    path = ramp.path(time)
    assert path <= ramp.path(time + 1)
    latest = ramp.time_of_path(path)
    assert latest >= time
    assert ramp.path(latest) == path


def test_golden_file_agrees() -> None:
    found = vectors("fixedpoint")
    ramp = WholeRamp([(time, ppm) for time, ppm in vectors("ramp")["rows"]])
    assert ramp.paths == found["paths"]
    for case in found["ramp"]:
        assert ramp.path(case["time"]) == case["path"]
        assert ramp.time_of_path(case["path"]) == case["time_of_path"]
    for case in found["times"]:
        assert ramp.time(case["ppm"]) == case["time"]
    for case in found["courses"]:
        course = WholeCourse.of(RateChange(**case["change"]), ramp)
        assert [course.path_at(one["arm"]) for one in case["at"]] == [
            one["path"] for one in case["at"]
        ]
        fall = course.fall(case["fall"]["arm"], case["fall"]["permit"])
        assert course.when(case["fall"]["permit"]) == case["fall"]["arm"]
        assert (fall.settled, fall.settled_path) == (
            case["fall"]["rest"], case["fall"]["rest_path"],
        )  # fmt: skip
