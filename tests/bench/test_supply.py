"""A small share of the table `supply`: what is stated of a hop is so as often as is stated."""

from tests.bench.supply import estimated


def test_nine_of_ten_intervals_hold_the_truth_over_random_arms() -> None:
    seen = estimated(60, 16, seed=11)
    given = len(seen.errors)
    assert given > 200
    # The goal; with these many hops chance alone moves the share by 2 %.
    assert 0.85 <= seen.held / given <= 0.95
    assert sorted(seen.errors)[given // 2] < 0.15
