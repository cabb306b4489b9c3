"""The permit's offer, by its law alone (design section 5.1)."""

from hypothesis import given
from hypothesis import strategies as st

from coordinator.core.run.permit import (
    HORIZON_MAX_US,
    LEVELLING_US,
    STEP_US,
    WINDOW_MAX_US,
    WINDOW_MIN_US,
    PermitKeeper,
)
from protocol.constants import FIRST_PERMIT_US
from protocol.pathtime import Course
from protocol.ramp import Ramp

RAMP = Ramp.for_ratio(0.5)
"""60 °/s, 120 °/s²."""
START = Course(0, 0, 0.0, 1.0, RAMP)

times = st.integers(0, 10_000_000)


def running(at_path_us: int) -> int:
    """Arm time at which the course is at a path time."""
    when = START.when(at_path_us)
    assert when is not None
    return int(when)


def test_the_first_offer_is_a_tenth_of_a_second_of_path() -> None:
    assert PermitKeeper(5_000).offer_us == 5_000 + FIRST_PERMIT_US == 105_000


@given(now=times, ahead=st.lists(st.integers(0, 10**6), min_size=1, max_size=6), q=times)
def test_the_offer_is_floor_plus_window_and_never_beyond_the_horizon(
    now: int, ahead: list[int], q: int
) -> None:
    keeper = PermitKeeper(0)
    here = int(START.at(now)[0])
    permits = [here + one for one in ahead]
    levelling = keeper.renew(now, START, permits, None, q)
    floor = min(permits)
    if levelling:
        assert keeper.offer_us == floor
        return
    first = FIRST_PERMIT_US
    assert keeper.offer_us <= max(floor + WINDOW_MAX_US, first)
    assert keeper.offer_us <= max(START.at(now + HORIZON_MAX_US)[0], first)
    behind_us = 500_000 - STEP_US
    assert keeper.offer_us >= min(floor + WINDOW_MIN_US, int(START.at(now + behind_us)[0]))


@given(q=st.integers(0, 2_000_000), rate=st.sampled_from([1.0, 0.3, 0.05]))
def test_the_offer_is_raised_once_in_a_tenth_of_a_second_while_all_have_it(
    q: int, rate: float
) -> None:
    course, keeper = Course(0, 0, 0.0, rate, RAMP), PermitKeeper(0)
    offers, begin_us = [], round(course.settled_us) + 2_000_000
    for now in range(0, begin_us + 2_000_000, 40_000):
        assert not keeper.renew(now, course, [keeper.offer_us] * 3, None, q)
        if now >= begin_us:
            offers.append(keeper.offer_us)
    # 2 s of 40 ms turns: each third one, or two of five where the window is no more than a step.
    assert 16 <= len(set(offers)) <= 21


@given(
    stood_still_us=st.integers(0, 270_000),
    q=st.integers(0, 2_000_000),
    turns=st.integers(60, 80),
)
def test_a_coordinator_that_stands_still_for_a_quarter_of_a_second_does_not_level(
    stood_still_us: int, q: int, turns: int
) -> None:
    keeper, begin_us = PermitKeeper(0), running(0)
    for turn in range(turns):
        now = begin_us + turn * 40_000
        assert not keeper.renew(now, START, [keeper.offer_us] * 3, None, q)
    now += 40_000 + stood_still_us
    assert not keeper.renew(now, START, [keeper.offer_us] * 3, None, q)


@given(before=st.integers(0, 1_450_000), q=times)
def test_until_the_arm_has_begun_the_offer_never_falls_below_the_first_permit(
    before: int, q: int
) -> None:
    # A start with a long start delay is confirmed so early that the horizon ends before its
    # instant.
    keeper = PermitKeeper(0)
    assert not keeper.renew(-before, START, [FIRST_PERMIT_US] * 3, None, q)
    assert keeper.offer_us >= FIRST_PERMIT_US


@given(left=st.integers(-200_000, 179_000))
def test_levelling_begins_when_the_floor_will_be_used_up_within_180_ms(left: int) -> None:
    keeper = PermitKeeper(0)
    floor = 3_000_000
    assert keeper.renew(running(floor) - left, START, [floor, floor + 90_000], None, 10_000)
    assert keeper.offer_us == floor
    # Once offered it stands, whatever arrives late.
    assert not keeper.renew(running(floor), START, [floor + 300_000] * 2, None, 10_000)
    keeper.hold(running(floor), [START], 10_000)
    assert keeper.offer_us == floor


def test_no_levelling_while_the_floor_lasts_longer() -> None:
    keeper = PermitKeeper(0)
    floor = 3_000_000
    now = running(floor) - LEVELLING_US - 1_000
    assert not keeper.renew(now, START, [floor], None, 10_000)


def test_no_levelling_when_the_floor_reaches_the_last_point() -> None:
    keeper = PermitKeeper(0)
    assert not keeper.renew(running(2_999_000), START, [3_000_000], 3_000_000, 10_000)


def test_the_offer_falls_when_the_rate_does() -> None:
    keeper = PermitKeeper(0)
    now = running(3_000_000)
    keeper.renew(now, START, [3_400_000], None, 500_000)
    before = keeper.offer_us
    slower = Course(now, 3_000_000.0, 1.0, 0.05, RAMP)
    keeper.renew(now, slower, [3_400_000], None, 500_000)
    assert keeper.offer_us < before


@given(
    q=st.integers(0, 2_000_000),
    rate=st.sampled_from([1.0, 0.9, 0.6, 0.3, 0.05]),
    turns=st.integers(1, 60),
)
def test_no_offer_lasts_beyond_the_longest_horizon_whatever_the_speed_becomes(
    q: int, rate: float, turns: int
) -> None:
    keeper, begin_us, floor = PermitKeeper(0), running(0), running(0)
    course, change_us = START, begin_us + 2_000_000
    for now in range(begin_us, change_us + turns * 40_000, 40_000):
        if now >= change_us and course is START:
            course = Course(now, *START.at(now), rate, RAMP)
        floor = keeper.offer_us
        keeper.renew(now, course, [floor], None, q)
        if keeper.fixed or now < begin_us + 500_000:
            continue
        lasts_until = course.when(keeper.offer_us)
        assert lasts_until is not None
        assert lasts_until - now <= HORIZON_MAX_US + 2 / rate  # whole µs of path


@given(
    before=st.integers(0, 2_000_000),
    after=st.integers(0, 2_000_000),
    lags_us=st.lists(st.integers(0, 400_000), min_size=1, max_size=3),
)
def test_an_offer_that_was_made_is_not_taken_back_because_links_are_better_now(
    before: int, after: int, lags_us: list[int]
) -> None:
    # Joints of which some have the higher and some the lower one would rest apart.
    keeper, begin_us = PermitKeeper(0), running(0)
    better_us = begin_us + 3_000_000
    for now in range(begin_us, better_us, 40_000):
        assert not keeper.renew(now, START, [keeper.offer_us], None, before)
    offered = keeper.offer_us
    for now in range(better_us, better_us + 400_000, 40_000):
        permits = [max(offered - lag, running(0)) for lag in lags_us]
        if keeper.renew(now, START, permits, None, after):
            return
        assert keeper.offer_us >= offered
        offered = keeper.offer_us


@given(q=st.integers(0, 2_000_000))
def test_a_hold_offers_where_path_time_will_be_in_one_and_a_half_q_and_never_more(q: int) -> None:
    keeper = PermitKeeper(0)
    now = running(3_000_000)
    keeper.renew(now, START, [3_200_000], None, q)
    before = keeper.offer_us
    keeper.hold(now, [START], q)
    assert keeper.offer_us <= before
    assert keeper.offer_us <= START.at(now + max(1.5 * q, 20_000))[0]


@given(q=st.integers(300_000, 2_000_000))
def test_a_hold_while_a_slower_speed_is_on_its_way_offers_no_more_than_that_one_reaches(
    q: int,
) -> None:
    keeper = PermitKeeper(0)
    now = running(3_000_000)
    keeper.renew(now, START, [3_400_000], None, q)
    slower = Course(now, 3_000_000.0, 1.0, 0.05, RAMP)
    keeper.hold(now, [START, slower], q)
    assert keeper.offer_us <= slower.at(now + 1.5 * q)[0] < START.at(now + 1.5 * q)[0]
