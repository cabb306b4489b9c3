"""Token buckets and the count of mistakes, as a matter of values."""

from coordinator.api.rate_limits import ADDRESSES, Buckets, Mistakes

S = 1_000_000


def test_a_burst_passes_and_the_next_one_waits_for_its_turn() -> None:
    buckets = Buckets(per_s=10, burst=3)
    assert [buckets.wait_us("a", 0) for _ in range(5)] == [0, 0, 0, 100_000, 100_000]
    assert buckets.wait_us("a", 99_999) == 1
    assert buckets.wait_us("a", 100_000) == 0
    assert buckets.wait_us("a", 100_000) == 100_000


def test_over_a_long_time_no_more_passes_than_the_rate() -> None:
    buckets = Buckets(per_s=10, burst=3)
    passed = sum(buckets.wait_us("a", now) == 0 for now in range(0, 10 * S, 20_000))
    assert passed == 10 * 10 + 3 - 1  # the last turn of the rate comes at 10 s


def test_addresses_do_not_wait_for_each_other() -> None:
    buckets = Buckets(per_s=1, burst=1)
    assert buckets.wait_us("a", 0) == 0
    assert buckets.wait_us("a", 0) == 1 * S
    assert buckets.wait_us("b", 0) == 0


def test_who_was_quiet_long_has_one_burst_and_not_more() -> None:
    buckets = Buckets(per_s=10, burst=3)
    buckets.wait_us("a", 0)
    assert [buckets.wait_us("a", 3600 * S) for _ in range(4)] == [0, 0, 0, 100_000]


def test_mistakes_bar_an_address_until_its_window_is_over() -> None:
    mistakes = Mistakes(allowed=2, window_us=60 * S)
    assert [mistakes.count("a", k * S) for k in range(3)] == [1, 2, 3]
    assert mistakes.wait_us("a", 10 * S) == 50 * S
    assert mistakes.wait_us("b", 10 * S) == 0
    assert mistakes.count("a", 60 * S) == 1
    assert mistakes.wait_us("a", 60 * S) == 0


def test_many_addresses_take_no_more_than_a_bounded_memory_and_the_busy_ones_stay() -> None:
    buckets, mistakes = Buckets(per_s=1, burst=1), Mistakes(allowed=0, window_us=60 * S)
    for k in range(3 * ADDRESSES):
        buckets.wait_us("busy", k)
        buckets.wait_us(f"a{k}", k)
        mistakes.count("busy", k)
        mistakes.count(f"a{k}", k)
    assert buckets.wait_us("busy", 3 * ADDRESSES)
    assert mistakes.wait_us("busy", 3 * ADDRESSES)
    assert not mistakes.wait_us("a0", 3 * ADDRESSES)
    # The newest is remembered too: it has had its one already.
    assert buckets.wait_us("newest", 3 * ADDRESSES) == 0
    assert buckets.wait_us("newest", 3 * ADDRESSES)
    assert mistakes.wait_us(f"a{3 * ADDRESSES - 1}", 3 * ADDRESSES)
    assert len(buckets._full_at_us) <= ADDRESSES
    assert len(mistakes._found) <= ADDRESSES
