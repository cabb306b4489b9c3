from fractions import Fraction
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.timing.exchange import Exchange
from coordinator.timing.guarantee import (
    DRIFT_PPM,
    HISTORY_US,
    Contradiction,
    Guarantee,
    Interval,
)
from tests.coordinator.timing.true_clocks import TrueClock, delays_us, histories

S = 1_000_000
DRIFT = Fraction(DRIFT_PPM, 1_000_000)
instants = st.integers(-20 * S, 300 * S)


def known(guarantee: Guarantee, arm_us: int) -> Interval:
    interval = guarantee.interval(arm_us)
    assert interval is not None
    return interval


def guarantee_of(*exchanges: Exchange, drift_ppm: int = DRIFT_PPM) -> Guarantee:
    guarantee = Guarantee(drift_ppm)
    for exchange in exchanges:
        assert guarantee.observe(exchange) is None
    return guarantee


# ---- exact cases --------------------------------------------------------------------------


def test_nothing_is_known_before_the_first_exchange() -> None:
    assert Guarantee().interval(0) is None
    assert Guarantee().arm_interval(0) is None
    assert Guarantee().span_us == 0


def test_limits_widen_by_the_drift_bound_forwards_and_backwards() -> None:
    guarantee = guarantee_of(Exchange(10 * S, 10 * S + 5300, 10 * S + 5350, 10 * S + 850))
    assert known(guarantee, 10 * S) == Interval(4500 - 1, 5300)  # the lower one is from T4
    assert known(guarantee, 10 * S + 850) == Interval(4500, 5301)
    assert known(guarantee, 20 * S) == Interval(4500 - 1000, 5300 + 1000)
    assert known(guarantee, 0) == Interval(4500 - 1001, 5300 + 1000)


def test_rounding_is_outwards() -> None:
    # 5000 µs at 100 ppm are half a microsecond.
    guarantee = guarantee_of(Exchange(0, 10, -10, 0))
    assert known(guarantee, 5_000) == Interval(-11, 11)
    assert known(guarantee, 10_000) == Interval(-11, 11)
    assert known(guarantee, 10_001) == Interval(-12, 12)


def test_newer_limit_replaces_an_older_one_only_where_it_is_tighter() -> None:
    tight = Exchange(0, 100, -100, 0)
    loose = Exchange(2 * S, 2 * S + 400, 2 * S - 250, 2 * S)
    guarantee = guarantee_of(tight, loose)
    assert known(guarantee, 2 * S) == Interval(-250, 300)
    assert known(guarantee, 3 * S) == Interval(-350, 400)
    assert known(guarantee, S) == Interval(-200, 200)


def test_late_exchange_counts_as_if_it_had_come_in_time() -> None:
    tight = Exchange(0, 100, -100, 0)
    loose = Exchange(2 * S, 2 * S + 400, 2 * S - 250, 2 * S)
    early, late = guarantee_of(tight, loose), guarantee_of(loose, tight)
    for arm_us in range(-S, 4 * S, S // 8):
        assert early.interval(arm_us) == late.interval(arm_us)


def test_joint_time_is_dated_within_the_limits_at_that_time() -> None:
    # The joint is between 100 µs behind and 100 µs ahead at arm time 0.
    guarantee = guarantee_of(Exchange(0, 100, -100, 0))
    assert guarantee.arm_interval(100) == (0, 201)  # ahead: 0; behind: 200·(1 + 100 ppm), up
    assert guarantee.arm_interval(-100) == (-201, 0)
    assert guarantee.arm_interval(S) == (999_800, 1_000_201)


def test_interval_gives_middle_half_width_and_nearest_inner_value() -> None:
    interval = Interval(-10, 25)
    assert interval.middle_us == 7.5
    assert interval.half_width_us == 17.5
    assert [interval.clamp(value) for value in (-11.0, 3.5, 26.0)] == [-10, 3.5, 25]


# ---- published cases ----------------------------------------------------------------------


def at_once(low_us: int, high_us: int) -> Exchange:
    return Exchange(0, high_us, low_us, 0)


def test_marzullo_three_sources_that_agree() -> None:
    # The worked example given with Marzullo's algorithm (thesis, Stanford 1984; as retold in
    # encyclopaedias): 10 ± 2, 12 ± 1 and 11 ± 1 give 11.5 ± 0.5.
    interval = known(guarantee_of(at_once(8, 12), at_once(11, 13), at_once(10, 12)), 0)
    assert interval == Interval(11, 12)
    assert (interval.middle_us, interval.half_width_us) == (11.5, 0.5)


def test_marzullo_three_sources_without_a_common_value() -> None:
    # From the same example: no value is in all of 8..12, 11..13 and 14..15.
    guarantee = guarantee_of(at_once(8, 12), at_once(11, 13))
    assert guarantee.observe(at_once(14, 15)) == Contradiction(gap_us=2, apart_us=0)


def test_rfc_5905_offset_and_half_delay_of_one_exchange() -> None:
    # RFC 5905 section 8: offset ½·[(T2−T1) + (T3−T4)], delay (T4−T1) − (T3−T2); the case is the
    # one of erratum 5020: clocks agree, 50 ms each way; then 10 ms out and 90 ms back.
    even = known(guarantee_of(Exchange(0, 50_000, 50_000, 100_000), drift_ppm=0), 0)
    assert (even.middle_us, even.half_width_us) == (0.0, 50_000.0)
    uneven = known(guarantee_of(Exchange(0, 10_000, 10_000, 100_000), drift_ppm=0), 0)
    assert (uneven.middle_us, uneven.half_width_us) == (-40_000.0, 50_000.0)


@pytest.mark.parametrize(("age_s", "dispersion_us"), [(1, 15), (64, 960), (1024, 15_360)])
def test_rfc_5905_dispersion_grows_by_phi(age_s: int, dispersion_us: int) -> None:
    # RFC 5905 (sections 4 and 7.2, from memory): dispersion grows by PHI = 15 µs per second.
    guarantee = guarantee_of(at_once(-50, 50), drift_ppm=15)
    assert known(guarantee, age_s * S) == Interval(-50 - dispersion_us, 50 + dispersion_us)


# ---- properties ---------------------------------------------------------------------------


@given(histories(), st.lists(instants, min_size=1, max_size=20))
def test_truth_is_inside_at_every_instant_after_every_exchange(
    history: tuple[TrueClock, list[Exchange]], asked: list[int]
) -> None:
    clock, exchanges = history
    guarantee = Guarantee()
    for exchange in exchanges:
        assert guarantee.observe(exchange) is None, "a clock within its bound never contradicts"
        for arm_us in (*asked, exchange.t1_us, exchange.t4_us):
            interval = known(guarantee, arm_us)
            assert interval.low_us <= clock.offset(arm_us) <= interval.high_us


@given(histories(), st.lists(instants, min_size=1, max_size=20))
def test_true_arm_time_of_a_joint_time_is_inside(
    history: tuple[TrueClock, list[Exchange]], asked: list[int]
) -> None:
    clock, exchanges = history
    guarantee = guarantee_of(*exchanges)
    for arm_us in asked:
        joint_us = int(clock.joint(arm_us) // 1)
        dated = guarantee.arm_interval(joint_us)
        assert dated is not None
        assert dated[0] <= clock.arm(joint_us) <= dated[1]


@given(histories(), st.randoms(use_true_random=False))
def test_order_of_arrival_changes_nothing_within_the_window(
    history: tuple[TrueClock, list[Exchange]], rng: Random
) -> None:
    exchanges = history[1]
    shuffled = rng.sample(exchanges, len(exchanges))
    in_order, mixed = guarantee_of(*exchanges), guarantee_of(*shuffled)
    for arm_us in range(0, 110 * S, 5 * S):
        assert in_order.interval(arm_us) == mixed.interval(arm_us)


def plainly(exchanges: list[Exchange], arm_us: int) -> Interval:
    """The definition: all limits, each widened by its distance in time."""
    high = min(e.upper_us + DRIFT * abs(arm_us - e.t1_us) for e in exchanges)
    low = max(e.lower_us - DRIFT * abs(arm_us - e.t4_us) for e in exchanges)
    return Interval(low // 1, -(-high // 1))


@given(histories(), st.lists(instants, min_size=1, max_size=20))
def test_no_limit_that_matters_is_ever_dropped(
    history: tuple[TrueClock, list[Exchange]], asked: list[int]
) -> None:
    exchanges = history[1]
    guarantee = guarantee_of(*exchanges)
    for arm_us in asked:
        assert known(guarantee, arm_us) == plainly(exchanges, arm_us)


@given(histories(), instants)
def test_dating_is_the_tightest_that_the_limits_allow(
    history: tuple[TrueClock, list[Exchange]], arm_us: int
) -> None:
    clock, exchanges = history
    joint_us = int(clock.joint(arm_us) // 1)
    dated = guarantee_of(*exchanges).arm_interval(joint_us)
    assert dated is not None
    for e in exchanges:
        # Joint time was at most T2 at T1 and at least T3 at T4, and ran at 1 ± the drift bound.
        since, until = joint_us - e.t2_us, joint_us - e.t3_us
        earliest = e.t1_us + (since / (1 + DRIFT) if since >= 0 else since / (1 - DRIFT))
        latest = e.t4_us + (until / (1 - DRIFT) if until >= 0 else until / (1 + DRIFT))
        assert dated[0] >= earliest // 1
        assert dated[1] <= -(-latest // 1)


short_times_us = st.integers(0, 400)


@given(st.lists(st.tuples(st.integers(0, 20 * S), st.integers(-900, 900), short_times_us)))
def test_empty_intersection_is_found_exactly_when_two_limits_contradict(
    limits: list[tuple[int, int, int]],
) -> None:
    guarantee = Guarantee()
    so_far: list[Exchange] = []
    for at_us, offset_us, half_us in limits:
        exchange = Exchange(at_us, at_us + offset_us + half_us, at_us + offset_us - half_us, at_us)
        gaps = [
            low.lower_us - high.upper_us - DRIFT * abs(low.t4_us - high.t1_us)
            for low, high in [
                *((exchange, e) for e in so_far),
                *((e, exchange) for e in so_far),
            ]
        ]
        found = guarantee.observe(exchange)
        if not gaps or max(gaps) <= 0:
            assert found is None
            so_far.append(exchange)
        else:
            assert found is not None
            assert found.gap_us == -(-max(gaps) // 1)
            assert guarantee.interval(at_us) is None, "nothing is kept"
            so_far = []


@given(
    histories(drift_ppm=0),
    st.integers(0, 30 * S),
    st.tuples(delays_us, st.integers(0, 2_000), delays_us),
    st.integers(1, 10**9),
    st.sampled_from([-1, 1]),
)
def test_step_beyond_the_delays_and_the_drift_is_found_at_the_first_exchange_after_it(
    history: tuple[TrueClock, list[Exchange]],
    later_us: int,
    times: tuple[int, int, int],
    beyond_us: int,
    direction: int,
) -> None:
    clock, exchanges = history
    guarantee = guarantee_of(*exchanges)
    sent_us = exchanges[-1].t4_us + later_us
    width_us = 2 * known(guarantee, sent_us + sum(times)).half_width_us
    step_us = direction * int(width_us + sum(times) + beyond_us)
    stepped = TrueClock(clock.offset_us + step_us, clock.pieces)
    found = guarantee.observe(stepped.exchange(sent_us, *times))
    assert found is not None
    assert found.gap_us >= beyond_us - 1
    assert guarantee.exchanges == 0


def test_exchange_that_contradicts_itself_is_found_and_not_kept() -> None:
    # The joint claims to have held the request for 2000 µs of a round trip of 1000 µs.
    guarantee = guarantee_of(at_once(-100, 100))
    found = guarantee.observe(Exchange(0, 0, 2_000, 1_000))
    assert found == Contradiction(gap_us=1_000, apart_us=1_000)
    assert guarantee.interval(0) is None


# ---- cost ---------------------------------------------------------------------------------


def test_memory_is_bounded_however_long_it_runs() -> None:
    # A constant delay is the worst case: no limit is ever within another's cone.
    guarantee = Guarantee()
    for k in range(10_000):
        at_us = k * 40_000
        guarantee.observe(Exchange(at_us, at_us + 500, at_us + 500, at_us + 1_000))
    most = HISTORY_US // 40_000 + 2
    assert len(guarantee.upper_limits) <= most
    assert len(guarantee.lower_limits) <= most
    assert guarantee.span_us == pytest.approx(HISTORY_US, abs=100_000)


def test_old_limit_is_kept_while_it_is_still_the_tightest() -> None:
    guarantee = guarantee_of(at_once(-10, 10))
    for k in range(1, 10):
        at_us = k * 60 * S
        assert guarantee.observe(Exchange(at_us, at_us + S, at_us - S, at_us)) is None
    assert known(guarantee, 540 * S) == Interval(-54_010, 54_010)


def test_start_of_the_window_is_known_from_the_limit_before_it() -> None:
    def limited(at_us: int, half_us: int) -> Exchange:
        return Exchange(at_us, at_us + half_us, at_us - half_us, at_us)

    guarantee = guarantee_of(
        limited(0, 10), limited(20 * S, 5), limited(60 * S, 3_000), limited(150 * S, 3_000)
    )
    assert known(guarantee, 150 * S - HISTORY_US) == Interval(-1_005, 1_005)
    assert known(guarantee, 10 * S) == Interval(-1_005, 1_005), "0 s is forgotten"
