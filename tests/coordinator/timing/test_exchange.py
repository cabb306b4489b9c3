import pytest

from coordinator.timing.exchange import Exchange


def test_one_exchange_limits_the_offset_from_both_sides() -> None:
    # A joint 1000 µs ahead; 300 µs out, 50 µs in the joint, 500 µs back.
    exchange = Exchange(t1_us=100, t2_us=1400, t3_us=1450, t4_us=950)
    assert exchange.upper_us == 1300
    assert exchange.lower_us == 500
    assert exchange.round_trip_us == 850


def test_instants_rounded_away_from_each_other_are_accepted() -> None:
    # Received and answered within the same microsecond: T2 rounds up, T3 down.
    exchange = Exchange(t1_us=0, t2_us=11, t3_us=10, t4_us=20)
    assert (exchange.lower_us, exchange.upper_us) == (-10, 11)


def test_answer_before_the_request_is_refused_with_both_times() -> None:
    with pytest.raises(ValueError, match="sent at 20 µs cannot have been answered at 19 µs"):
        Exchange(t1_us=20, t2_us=0, t3_us=0, t4_us=19)
