import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.timing.clock import (
    AGREEING_EXCHANGES,
    CONTRADICTIONS_LIMIT,
    CONTRADICTIONS_WITHIN_US,
    ClockUnlockedError,
    JointClock,
)
from coordinator.timing.exchange import Exchange
from protocol.clockmap import ClockMap
from tests.coordinator.timing.true_clocks import TrueClock, histories

S = 1_000_000
INTERVAL_US = 40_000
START = TrueClock(5_000_000, ((0, 0),))


def talk(
    clock: JointClock,
    truth: TrueClock,
    start_us: int,
    end_us: int,
    times: tuple[int, int, int] = (600, 100, 500),
) -> None:
    """Regular exchanges that leave from one instant to before another."""
    for sent_us in range(start_us, end_us, INTERVAL_US):
        exchange = truth.exchange(sent_us, *times)
        clock.observe(exchange, exchange.t4_us)


def is_locked(clock: JointClock) -> bool:
    """Asked anew each time, for the type checker takes an attribute for constant."""
    return clock.locked


def locked_clock(truth: TrueClock = START, seconds: int = 1) -> JointClock:
    clock = JointClock()
    talk(clock, truth, 0, seconds * S)
    assert is_locked(clock)
    return clock


# ---- locking ------------------------------------------------------------------------------


def test_new_clock_is_unlocked_and_states_nothing() -> None:
    clock = JointClock()
    assert not is_locked(clock)
    assert clock.reason == ("the clock is not trusted: it is new; 0 of 8 exchanges agree")
    assert clock.guarantee(0) is None
    assert clock.offset_us(0) is None
    assert clock.arm_interval(0) is None
    assert clock.age_us(0) is None
    assert clock.estimate_error_us(0) == math.inf
    assert clock.uncertainty_us(ClockMap(1, 0, 0, 0), 0, 0) == math.inf
    with pytest.raises(ClockUnlockedError, match="0 of 8 exchanges agree"):
        clock.make_map(1, 0)


def test_clock_locks_once_enough_exchanges_agree() -> None:
    clock = JointClock()
    talk(clock, START, 0, (AGREEING_EXCHANGES - 1) * INTERVAL_US)
    assert not is_locked(clock)
    assert clock.reason.endswith("7 of 8 exchanges agree")
    talk(clock, START, S, S + 1)
    assert is_locked(clock)
    assert clock.reason == ""


def test_age_is_the_time_since_the_last_exchange() -> None:
    clock = locked_clock()
    last_us = S - INTERVAL_US + 1_200
    assert clock.age_us(last_us + 777) == 777


# ---- what makes it lose its lock ----------------------------------------------------------


# Both ways take 1100 µs, which hide that much of a step; so does the drift in the 40 ms between.
@pytest.mark.parametrize(
    ("step_us", "gap_us"),
    [(-3_000, 1_897), (3_000, 1_896), (-(10**9), 999_998_897), (10**9, 999_998_896)],
)
def test_step_unlocks_at_the_first_exchange_after_it_and_says_so(step_us: int, gap_us: int) -> None:
    clock = locked_clock()
    stepped = TrueClock(START.offset_us + step_us, START.pieces)
    talk(clock, stepped, S, S + 1)
    assert not is_locked(clock)
    assert clock.guarantee(S) is None
    assert "it was stepped or restarted" in clock.reason
    assert f"contradict each other by {gap_us} µs beyond a drift of 100 ppm" in clock.reason
    assert clock.reason.endswith("0 of 8 exchanges agree")


def test_clock_locks_anew_on_fresh_exchanges_after_a_step() -> None:
    clock = locked_clock()
    stepped = TrueClock(START.offset_us + 50_000, START.pieces)
    talk(clock, stepped, S, S + AGREEING_EXCHANGES * INTERVAL_US)
    assert not is_locked(clock), "the exchange that found the step does not count"
    talk(clock, stepped, 2 * S, 2 * S + 1)
    assert is_locked(clock)
    interval = clock.guarantee(2 * S)
    assert interval is not None
    assert interval.low_us <= START.offset_us + 50_000 <= interval.high_us


def test_exchange_sent_before_a_step_was_found_is_not_believed_after_it() -> None:
    clock = locked_clock()
    stepped = TrueClock(START.offset_us + 50_000, START.pieces)
    talk(clock, stepped, S, S + 4 * INTERVAL_US)
    late = START.exchange(S - 10_000, 600, 100, 300_000)
    clock.observe(late, late.t4_us)
    assert clock.reason.endswith("3 of 8 exchanges agree")


def test_one_false_exchange_costs_one_unlocking() -> None:
    clock = locked_clock()
    for k in range(1, CONTRADICTIONS_LIMIT):
        talk(clock, TrueClock(0, ((0, 0),)), k * S, k * S + 1)
        assert not is_locked(clock)
        talk(clock, START, k * S + INTERVAL_US, k * S + S)
        assert is_locked(clock)


@pytest.mark.parametrize("rate_ppm", [-180, 180])
def test_crystal_out_of_tolerance_is_named_and_not_trusted_between_times(rate_ppm: int) -> None:
    clock = JointClock()
    truth = TrueClock(0, ((0, rate_ppm),))
    # 80 ppm beyond the bound use up the 1100 µs between the limits in 14 s.
    talk(clock, truth, 0, 60 * S)
    assert not is_locked(clock)
    assert f"{CONTRADICTIONS_LIMIT} contradictions within 300 s" in clock.reason
    assert "crystal is off by more than 100 ppm" in clock.reason
    assert clock.reason.endswith("its exchanges agree at present")


def test_clock_that_stops_contradicting_itself_is_trusted_again() -> None:
    clock = locked_clock()
    for k in range(CONTRADICTIONS_LIMIT):
        talk(clock, TrueClock(k * S, ((0, 0),)), (k + 1) * S, (k + 2) * S)
    assert not is_locked(clock)
    settled = TrueClock((CONTRADICTIONS_LIMIT - 1) * S, ((0, 0),))
    until_us = CONTRADICTIONS_WITHIN_US + 2 * S
    talk(clock, settled, 5 * S, until_us - 5 * S)
    assert not is_locked(clock)
    talk(clock, settled, until_us - 5 * S, until_us)
    assert is_locked(clock)


def test_reset_forgets_the_clock_for_the_reason_given() -> None:
    clock = locked_clock(seconds=20)
    assert (clock.rate_measured, clock.age_us(20 * S)) == (True, 38_800)
    clock.reset("the joint restarted")
    assert not is_locked(clock)
    assert (clock.rate_measured, clock.age_us(20 * S)) == (False, None)
    assert clock.reason == ("the clock is not trusted: the joint restarted; 0 of 8 exchanges agree")
    talk(clock, TrueClock(-20 * S, ((0, 0),)), 20 * S, 21 * S)
    assert is_locked(clock), "a restarted joint's other offset is no contradiction"


def test_reset_forgets_earlier_contradictions() -> None:
    clock = locked_clock()
    for k in range(CONTRADICTIONS_LIMIT):
        talk(clock, TrueClock(k * S, ((0, 0),)), (k + 1) * S, (k + 2) * S)
    assert not is_locked(clock)
    clock.reset("the joint restarted")
    talk(clock, START, 5 * S, 6 * S)
    assert is_locked(clock)


# ---- the estimate -------------------------------------------------------------------------


def test_rate_is_zero_and_unmeasured_until_the_limits_span_five_seconds() -> None:
    truth = TrueClock(0, ((0, 40),))
    clock = JointClock()
    talk(clock, truth, 0, 4 * S)
    assert (clock.rate_measured, clock.rate) == (False, 0.0)
    interval = clock.guarantee(4 * S)
    assert interval is not None
    assert clock.offset_us(4 * S) == interval.middle_us
    assert clock.estimate_error_us(4 * S) == interval.half_width_us
    talk(clock, truth, 4 * S, 6 * S)
    assert clock.rate_measured
    # Limits are whole microseconds: 1 µs in 5 s are 0.2 ppm.
    assert clock.rate == pytest.approx(40e-6, abs=0.4e-6)


def test_rate_follows_a_crystal_that_warms_up() -> None:
    # From 40 to 35 ppm in steps; an old rate leaves the window after two minutes.
    truth = TrueClock(0, ((0, 40), (60 * S, 38), (90 * S, 36), (120 * S, 35)))
    clock = locked_clock(truth, seconds=60)
    assert clock.rate == pytest.approx(40e-6, abs=0.1e-6)
    talk(clock, truth, 60 * S, 260 * S)
    assert clock.rate == pytest.approx(35e-6, abs=0.1e-6)


def test_estimate_never_leaves_the_guarantee() -> None:
    # From one end of the drift bound to the other, unheard: by the old rate alone the estimate
    # would be above the limits that come after it.
    truth = TrueClock(0, ((0, 100), (120 * S, -100)))
    clock = locked_clock(truth, seconds=120)
    talk(clock, truth, 150 * S, 150 * S + 1)
    interval, offset_us = clock.guarantee(151 * S), clock.offset_us(151 * S)
    assert interval is not None
    assert offset_us == interval.high_us, "clamped"
    assert clock.estimate_error_us(151 * S) <= interval.high_us - interval.low_us


def test_estimate_of_an_unsteady_clock_claims_no_more_than_the_guarantee() -> None:
    pieces = tuple((k * 10 * S, -90 + 18 * k) for k in range(11))
    clock = locked_clock(TrueClock(0, pieces), seconds=110)
    now_us = 110 * S
    interval, offset_us = clock.guarantee(now_us), clock.offset_us(now_us)
    assert interval is not None
    assert offset_us is not None
    assert clock.estimate_error_us(now_us) == max(
        interval.high_us - offset_us, offset_us - interval.low_us
    )


@given(histories())
def test_estimate_and_its_map_stay_inside_the_guarantee(
    history: tuple[TrueClock, list[Exchange]],
) -> None:
    clock = JointClock()
    for exchange in history[1]:
        now_us = exchange.t4_us
        clock.observe(exchange, now_us)
        interval, offset_us = clock.guarantee(now_us), clock.offset_us(now_us)
        if interval is None or offset_us is None:
            continue
        assert interval.low_us <= offset_us <= interval.high_us
        assert abs(clock.rate) <= 100e-6
        assert clock.estimate_error_us(now_us) <= interval.high_us - interval.low_us
        made = clock.make_map(3, now_us)
        assert (made.number, made.arm_us) == (3, now_us)
        assert interval.low_us <= made.joint_us - now_us <= interval.high_us
        assert made.rate_ppb == round(clock.rate * 1e9)


# ---- maps and their bound -----------------------------------------------------------------


def test_bound_is_the_larger_distance_from_the_map_to_the_guarantee() -> None:
    clock = JointClock()
    for _ in range(AGREEING_EXCHANGES):
        clock.observe(Exchange(0, 700, -300, 0), 0)  # offset −300 to 700
    assert clock.uncertainty_us(ClockMap(1, 0, 200, 0), 0, 0) == pytest.approx(500, abs=1)
    assert clock.uncertainty_us(ClockMap(1, 0, 0, 0), 0, 0) == pytest.approx(700, abs=1)
    assert clock.uncertainty_us(ClockMap(1, 0, 900, 0), 0, 0) == pytest.approx(1200, abs=1)
    assert clock.uncertainty_us(ClockMap(1, 0, 200, 0), 0, 10 * S) == pytest.approx(1500, abs=1)


def test_bound_with_a_remainder_is_that_of_the_clock_the_joint_goes_by() -> None:
    clock = JointClock()
    for _ in range(AGREEING_EXCHANGES):
        clock.observe(Exchange(0, 700, -300, 0), 0)
    made = ClockMap(1, 0, 200, 0)
    assert clock.uncertainty_us(made, 40, 0) == pytest.approx(540, abs=1)
    assert clock.uncertainty_us(made, -40, 0) == pytest.approx(540, abs=1)


def test_bound_holds_for_a_remainder_that_a_joint_could_only_tell_in_whole_microseconds() -> None:
    clock = JointClock()
    for _ in range(AGREEING_EXCHANGES):
        clock.observe(Exchange(0, 700, -300, 0), 0)
    made = ClockMap(1, 0, 200, 90_000)
    for now_us in range(0, 20 * S, 777_777):
        interval = clock.guarantee(now_us)
        assert interval is not None
        ahead_us = made.to_arm(now_us + interval.high_us) + 40.499 - now_us
        assert ahead_us < clock.uncertainty_us(made, round(40.499), now_us)


@given(histories(), st.integers(-5_000, 5_000), st.integers(-5_000, 5_000), st.integers(0, 60 * S))
def test_joint_never_misreads_arm_time_by_more_than_the_bound(
    history: tuple[TrueClock, list[Exchange]], wrong_us: int, remainder_us: int, later_us: int
) -> None:
    truth, exchanges = history
    clock = JointClock()
    for exchange in exchanges:
        clock.observe(exchange, exchange.t4_us)
    now_us = exchanges[-1].t4_us + later_us
    if not is_locked(clock):
        assert len(exchanges) < AGREEING_EXCHANGES
        return
    exact = clock.make_map(1, exchanges[-1].t4_us)
    in_use = ClockMap(1, exact.arm_us, exact.joint_us + wrong_us, exact.rate_ppb)
    joint_us = float(truth.joint(now_us) - in_use.joint_us) + in_use.joint_us
    reading_us = in_use.to_arm(joint_us) + remainder_us
    # Joint times of up to 10¹⁵ µs are doubles of 1/8 µs here.
    assert abs(reading_us - now_us) <= clock.uncertainty_us(in_use, remainder_us, now_us) + 0.5


def test_joint_times_are_dated_within_the_guarantee() -> None:
    truth = TrueClock(7_000_000, ((0, 25),))
    clock = locked_clock(truth, seconds=60)
    for true_us in range(0, 60 * S, 7 * S + 1):
        joint_us = int(truth.joint(true_us) // 1)
        dated = clock.arm_interval(joint_us)
        assert dated is not None
        assert dated[0] <= truth.arm(joint_us) <= dated[1]
        # Both ways together take 1100 µs, and a limit is never further than half an interval.
        assert dated[1] - dated[0] <= 1_100 + 10
