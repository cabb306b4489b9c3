"""Many rehearsals together: counts, quantiles and how sure they are."""

import json
from dataclasses import asdict

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import beta

from coordinator.rehearsal.played import HoldSeen, Played, StartSeen
from coordinator.rehearsal.summary import quantiles, share, summarise


def start(
    start_skew_us: float | None = 50.0,
    *,
    attempts: int = 1,
    start_margin_us: int = 300_000,
    off_us: float = 20.0,
) -> StartSeen:
    return StartSeen(
        is_resume=False,
        attempts=attempts,
        start_delay_us=500_000,
        start_skew_us=start_skew_us,
        start_skew_max_us=1_500,
        start_margin_us={"base": start_margin_us},
        off_us={"base": off_us},
    )


def run(
    *starts: StartSeen,
    outcome: str = "finished",
    message: str = "",
    motion_us: int = 30_000_000,
    partial: int = 0,
    refused: int = 0,
    holds: tuple[HoldSeen, ...] = (),
    feed: dict[str, int] | None = None,
    supply: dict[str, float] | None = None,
) -> Played:
    return Played(
        seed=1,
        outcome=outcome,
        message=message,
        wait_us=1_000_000,
        motion_us=motion_us,
        starts=starts,
        partial_starts=partial,
        refused_starts=refused,
        holds=holds,
        buffer_margin_us=feed or {},
        lowest_supply_v=supply or {},
        simulated_us=60_000_000,
    )


def test_every_start_is_counted_once_as_what_became_of_it() -> None:
    found = summarise(
        [
            run(start(), start(attempts=2), start(start_skew_us=None)),
            run(start(), partial=1),
            run(outcome="refused", message="tip did not confirm", refused=1),
        ]
    )
    counts = (found.retried, found.partial, found.refused)
    # One joint that did not begin after all makes a start partial too.
    assert [one.count for one in counts] == [1, 2, 1]
    assert {one.of for one in counts} == {6}
    assert (found.not_at_once.count, found.not_at_once.of) == (4, 6)
    assert found.outcomes == {"finished": 2, "refused": 1}
    assert found.reasons == {"tip did not confirm": 1}


def test_a_start_that_the_run_itself_found_to_be_partial_is_counted_once() -> None:
    found = summarise(
        [run(start(start_skew_us=None), partial=1), run(start(start_skew_us=None), partial=2)]
    )
    assert (found.partial.count, found.partial.of) == (3, 3)


def test_holds_are_counted_per_run_and_per_minute_of_playing_with_their_causes() -> None:
    late, silent = HoldSeen("tip late", 0), HoldSeen("base silent", 40_000)
    found = summarise([run(start(), holds=(late, silent)), run(start(), holds=(late,)), run()])
    assert (found.holds, found.holds_per_run) == (3, 1.0)
    assert found.holds_per_minute == pytest.approx(3 / 1.5)
    assert list(found.hold_causes.items()) == [("tip late", 2), ("base silent", 1)]
    assert found.apart_us == 40_000


def test_the_duration_is_of_those_that_finished() -> None:
    found = summarise([run(motion_us=31), run(motion_us=33), run(outcome="lost", motion_us=900)])
    assert found.duration_us is not None
    assert (found.duration_us.count, found.duration_us.most) == (2, 33)


def test_a_start_is_as_far_off_before_its_instant_as_after_it() -> None:
    found = summarise([run(start(off_us=-70.0), start(off_us=30.0))]).off_us["base"]
    assert (found.count, found.least, found.most) == (2, 30.0, 70.0)


def test_the_smallest_buffer_margin_of_each_joint_is_kept() -> None:
    found = summarise([run(feed={"base": 7, "tip": 9}), run(feed={"base": 8, "tip": 5})])
    assert found.buffer_margin_us == {"base": 7, "tip": 5}


def test_nothing_seen_is_none_and_not_zero() -> None:
    found = summarise([])
    assert (found.wait_us, found.duration_us, found.start_skew_us, found.start_delay_us) == (
        None,
    ) * 4
    assert (found.holds_per_minute, found.apart_us) == (None, None)
    assert found.not_at_once.at_most == 1.0
    json.dumps(asdict(found))


def test_quantiles_are_nearest_ranks() -> None:
    # Definition of the nearest rank: the smallest value that at least p % do not exceed.
    found = quantiles([float(value) for value in range(200, 0, -1)])
    assert found is not None
    assert (found.least, found.p01, found.p50, found.p99, found.most) == (1, 2, 100, 198, 200)


@given(st.lists(st.integers(-100, 100), min_size=1, max_size=300))
def test_quantiles_are_values_that_occurred_in_order(values: list[int]) -> None:
    found = quantiles(values)
    assert found is not None
    ordered = [found.least, found.p01, found.p50, found.p99, found.most]
    assert ordered == sorted(ordered)
    assert set(ordered) <= set(values)
    assert (found.least, found.most) == (min(values), max(values))


@given(st.integers(1, 3_000), st.data())
def test_the_limit_of_a_share_is_clopper_and_pearsons(of: int, data: st.DataObject) -> None:
    # scipy's beta distribution: the one-sided upper limit is its 95 % point at k + 1, n − k.
    count = data.draw(st.integers(0, min(of, 40)))
    expected = 1.0 if count == of else float(beta.ppf(0.95, count + 1, of - count))
    assert share(count, of).at_most == pytest.approx(expected, rel=1e-6)


def test_of_nothing_seen_in_300_the_share_is_under_1_percent() -> None:
    # The rule of three (common practice): about 3/n.
    assert share(0, 300).at_most == pytest.approx(1.0 - 0.05 ** (1 / 300))
    assert share(0, 300).at_most < 0.01


def test_of_the_supply_the_lowest_volts_of_any_rehearsal_are_told() -> None:
    found = summarise([run(supply={"base": 23.0, "tip": 22.0}), run(supply={"base": 22.5})])
    assert found.lowest_supply_v == {"base": 22.5, "tip": 22.0}
