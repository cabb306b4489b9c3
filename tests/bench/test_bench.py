"""The judge of the bench, and its baselines where their figures can be told beforehand."""

from typing import Any
from unittest.mock import patch

import pytest

from coordinator.core.run.permit import WINDOW_MAX_US, PermitKeeper
from simulator.network import PROFILES
from tests.bench import (
    baselines,
    goals,
    guarantee,
    in_virtual_time,
    kills,
    outages,
    reversal,
    virtual_tables,
)
from tests.bench.__main__ import NETWORKS, judge
from tests.bench.clock_part import KnownStart
from tests.bench.figures import percentile
from tests.bench.guarantee import Guaranteed, judge_start
from tests.bench.kills import Kills, allowed_us
from tests.bench.starts import Starts
from tests.bench.virtual_arm import VirtualArm
from tests.coordinator.motion.blending.paths import ARM


def report(start_skew_max_us: int | None, **changes: Any) -> dict[str, Any]:
    start: dict[str, Any] = {
        "attempts": 1, "start_delay_us": 140_000, "at_us": 5_000_000, "start_skew_us": 10,
        "start_skew_max_us": start_skew_max_us, "joints": {"elbow": {}, "wrist": {}},
    }  # fmt: skip
    made = {"run": 7, "outcome": "finished", "partial_starts": 0, "holds": [], "starts": [start]}
    return made | changes


def test_true_spread_beyond_the_bound_is_told_with_its_seed_and_figures() -> None:
    starts = Starts()
    starts.take(report(199), 0, [("elbow", 5_000_000.0), ("wrist", 5_000_199.5)], "home, seed 3")
    assert starts.start_skew_us == [199.5]
    assert len(starts.broken) == 1
    for figure in ("home, seed 3", "run 7", "199.500", "bound 199 µs"):
        assert figure in starts.broken[0]


def test_true_spread_up_to_the_bound_is_none_broken() -> None:
    starts = Starts()
    starts.take(report(200), 0, [("elbow", 5_000_000.0), ("wrist", 5_000_200.0)], "")
    assert (starts.broken, starts.first_attempt, starts.first_share) == ([], 1, 1.0)


def test_bound_stated_of_a_joint_that_did_not_begin_is_broken() -> None:
    starts = Starts()
    starts.take(report(200), 0, [("elbow", 5_000_000.0), ("wrist", 9_000_000.0)], "")
    assert "wrist did not begin" in starts.broken[0]
    assert (starts.partial, starts.first_share) == (1, 0.0)


def test_what_was_refused_counts_as_asked() -> None:
    starts = Starts()
    starts.take(report(None, starts=[], outcome="refused"), 0, [], "")
    starts.take(report(200), 0, [("elbow", 5_000_000.0), ("wrist", 5_000_000.0)], "")
    assert (starts.refused, starts.asked, starts.first_share) == (1, 2, 0.5)


def test_percentile_is_by_nearest_rank() -> None:
    values = list(range(1, 101))
    assert [percentile(values, p) for p in (50, 95, 99, 100)] == [50, 95, 99, 100]


def test_sntp_on_a_perfect_link_errs_by_no_more_than_drift_since_it_was_set() -> None:
    # Crystals of ±50 ppm (simulator.unit and its wander), set every 15 s: two are at most
    # 2 · 50 ppm · 15 s = 1.5 ms apart, and would be 0 apart only if none drifted.
    spreads = baselines.sntp_us("none", 6, 1, 20)
    assert 0 < max(spreads) <= 1_500


@pytest.mark.parametrize("network", NETWORKS)
def test_go_now_on_a_perfect_link_is_at_once_and_on_others_not(network: str) -> None:
    assert max(baselines.go_now_us("none", 6, 1, 5)) == 0
    assert min(baselines.go_now_us(network, 6, 1, 5)) > 0


def test_kill_counts_what_stands_beyond_the_window_or_later_than_permit_and_ramp() -> None:
    def rest(path_us: float, at_us: int) -> dict[str, float]:
        return {"path_us": path_us, "at_ns": at_us * 1000}

    found = Kills()
    found.take(5_000_000.0, [rest(700_000, 6_200_000), rest(700_000, 6_300_000)], 1e5, 1.3e6)
    assert (found.start_skew_us, found.rest_us, found.apart, found.late) == ([0], [1_300_000], 0, 0)
    found.take(5_000_000.0, [rest(700_000, 6_200_000), rest(800_001, 6_300_001)], 1e5, 1.3e6)
    assert (found.start_skew_us[1], found.apart, found.late) == (100_001, 1, 1)


def test_permit_and_ramp_grow_with_the_links_q_between_the_limits_of_the_design() -> None:
    # Design section 5: window 100 to 400 ms, horizon here 0.6 to 1.1 s; a ramp of 0.8 s.
    assert allowed_us(0, 800_000, joint=False) == (100_000, 1_400_000)
    assert allowed_us(200_000, 800_000, joint=False) == (200_000, 1_500_000)
    assert allowed_us(200_000, 800_000, joint=True) == (200_000, 1_700_000)
    assert allowed_us(5_000_000, 800_000, joint=True) == (400_000, 2_300_000)


def known(true_us: float, **changes: Any) -> KnownStart:
    start = KnownStart(
        true_us,
        0,
        -50.0,
        50.0,
        estimate_us=3.0,
        stated_us=5.0,
        clock_us=1.0,
        clock_uncertainty_us=60.0,
    )
    start.dated = (round(true_us) - 60, round(true_us) + 60)
    for name, value in changes.items():
        setattr(start, name, value)
    return start


@pytest.mark.parametrize(
    ("changes", "counted"),
    [
        ({"low_us": 1.0}, "outside"),
        ({"clock_us": 60.5}, "beyond"),
        ({"dated": (400, 500)}, "broken"),
    ],
)
def test_whatever_the_guarantee_forbids_is_counted(changes: dict[str, Any], counted: str) -> None:
    found = Guaranteed()
    judge_start(found, (known(0.0), known(110.0)))
    assert (found.violations, found.start_skew_us, found.covered) == (0, [110.0], 2)
    judge_start(found, (known(900.0), known(0.0, **changes)))
    assert (found.violations, getattr(found, counted)) == (1, 1)


def test_a_broken_guarantee_ends_the_bench_with_1(capsys: pytest.CaptureFixture[str]) -> None:
    for broken in (0, 1):
        with patch.object(
            guarantee, "measure", lambda *_, n=broken: {"home": Guaranteed(broken=n)}
        ):
            assert judge(virtual_tables.guaranteed(["home"], 1, 2, 1, 1)) == broken
    assert "BOUND BROKEN: home: 1 of 0 starts" in capsys.readouterr().out


def test_joints_further_apart_than_the_window_after_a_kill_end_the_bench_with_1(
    capsys: pytest.CaptureFixture[str],
) -> None:
    for apart_us in (WINDOW_MAX_US, WINDOW_MAX_US + 1_000):
        found = Kills()
        rests = [{"path_us": path_us, "at_ns": 6 * 10**9} for path_us in (10**6, 10**6 + apart_us)]
        found.take(5_000_000.0, rests, 100_000, 1_500_000)
        with patch.object(kills, "_measure", lambda *_, found=found: {"a joint": found}):
            broken = kills.table(["home"], 2, 1, 1)
        assert judge(broken) == (apart_us > WINDOW_MAX_US)
    assert (
        "BOUND BROKEN: home, a joint killed: 401 ms of path time apart" in capsys.readouterr().out
    )


def test_goals_stand_beside_the_limits_that_the_counts_leave(
    capsys: pytest.CaptureFixture[str],
) -> None:
    rested = in_virtual_time.Found()
    rested.rested = Starts(start_delay_us=[1.0] * 320, first_attempt=320)
    with patch.object(in_virtual_time, "measure", lambda *_: {"quiet": rested}):
        virtual_tables.virtual(["quiet"], 2, 1, 1, 1, 1)

    def measured(cases: list[outages.Case], *_: object) -> dict[outages.Key, outages.Held]:
        held = outages.Held([0.0] * 52 + [5.0], false_holds=0, moving_s=1_800.0)
        return {(one.network, one.way, one.levelling): held for one in cases}

    with patch.object(outages, "measure", measured):
        virtual_tables.long_plays(["quiet"], 2, 1, 1, 1)
    out = capsys.readouterr().out
    # 0.025^(1/320) = 0.9885; 3.689 / 30 minutes = 0.123.
    for figures in ("98.9 to 100 %", "0 to 0.123", "89.9 to 100 %"):
        assert figures in out
    assert out.count("met, not proved") == 1 + 1 + len(outages.WAYS)


def test_levelling_can_be_left_out_and_comes_back() -> None:
    offers = []
    for on in (False, True):
        keeper = PermitKeeper(0)
        keeper.floor_us = keeper.offer_us - 30_000
        with outages.levelling(on):
            keeper.level()
        offers.append(keeper.floor_us - keeper.offer_us)
        assert keeper.fixed
    assert offers == [-30_000, 0]


def test_starts_of_clocks_alone_break_nothing_on_any_network() -> None:
    found = guarantee.measure(NETWORKS, 100, 2, 1, 1)
    assert [len(one.start_skew_us) for one in found.values()] == [25] * 4
    assert sum(one.violations for one in found.values()) == 0


def test_an_outage_in_mid_motion_ends_in_a_hold_within_the_window() -> None:
    with patch.object(outages, "OUTAGES_EACH", 2):
        found = outages.one_world(outages.Case("quiet", 2, 1, "both ways"))
    assert len(found.apart_us) + found.ridden >= 2
    assert max(found.apart_us) <= WINDOW_MAX_US


def test_starts_in_virtual_time_are_within_their_bounds_and_none_is_lost() -> None:
    found = in_virtual_time.one_world(in_virtual_time.Case("home", 2, 1, 1))
    assert (found.every.asked, len(found.every.start_skew_us), found.every.broken) == (2, 2, [])
    assert len(found.go_now_us) == len(found.sntp_us) == 2
    assert max(found.every.start_skew_us) < min(found.go_now_us)


def test_an_arm_may_have_more_joints_than_an_arm_file() -> None:
    # No letter is left for the last of these.
    many = VirtualArm("quiet", PROFILES["quiet"], 19, 1)
    assert len({joint.id for joint in many.arm.joints}) == 19
    assert len(many.world.units) == len(many.arm.homing_order) == 19


def test_what_is_known_when_the_bench_is_cut_short_is_kept() -> None:
    def work(case: int) -> int:
        if case == 2:
            raise KeyboardInterrupt
        return 10 * case

    assert list(in_virtual_time.shared_out(work, [0, 1, 2, 3], 1, "cases")) == [(0, 0), (1, 10)]


def test_a_missed_goal_is_told_with_how_much() -> None:
    assert goals.START_SKEW_P99.missed("home", 110) == []
    assert goals.START_SKEW_P99.missed("home", 131) == [
        "Goal missed on home: start skew p99 131 µs, goal ≤ 110 µs, missed by 21 µs."
    ]
    assert goals.SAME_PATH_TIME.missed("busy", 75, ", both ways") == []
    assert "on busy, both ways" in goals.SAME_PATH_TIME.missed("busy", 74, ", both ways")[0]
    assert goals.SAME_PATH_TIME.missed("busy", float("nan")) == []


def test_overtravel_leaves_no_reversal_value_and_compensation_what_it_was_not_set_for() -> None:
    plain, _ = reversal.stops(ARM, 0.0, 0.3)
    sided, _ = reversal.stops(reversal.with_approach(ARM, 2), 0.0, 0.3)
    compensated, _ = reversal.stops(ARM, 0.2, 0.3)
    assert (plain, sided, compensated) == pytest.approx((0.3, 0.0, 0.1), abs=1e-3)
