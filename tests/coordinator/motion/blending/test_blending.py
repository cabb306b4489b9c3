"""Through corners within the tolerance: limits, path, ends, and what closed forms say."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.motion.plan import plan_text
from coordinator.motion.points import CornerLimit
from coordinator.motion.route import pose_at
from coordinator.programs.loops import Loops
from protocol.constants import ACCELERATION_SHARE
from tests.coordinator.motion.blending.paths import ARM, furthest, lines_of, planned
from tests.coordinator.motion.test_points import LIMITS, unlike

V, A, J = 60.0, ACCELERATION_SHARE * 120.0, 600.0
"""Limits of the first three joints of the demo arm as a plan may use them."""
ROUNDING_DEG = 2e-3
"""More than rounding to counts and to µs moves a path: a count is 2.2e-5°, 1 µs at 120 °/s 1.2e-4°,
and merged knots bend it by j·(5 ms)³ and less."""

SIZES = st.sampled_from([0.01, 0.3, 5.0, 40.0])
MOVES = SIZES.flatmap(
    lambda size: st.lists(
        st.lists(st.one_of(st.just(0.0), st.floats(-size, size)), min_size=6, max_size=6),
        min_size=1,
        max_size=14,
    ).filter(lambda turns: any(abs(turn) > 1e-3 for row in turns for turn in row))
)
PATHS = st.tuples(MOVES, st.floats(0.05, 10.0), st.one_of(st.none(), st.floats(30.0, 6000.0)))


def text_of(turns: list[list[float]], tolerance: float, feed: float | None) -> str:
    words = "G0" if feed is None else f"G1 F{feed:.3f}"
    return f"G91 G64 P{tolerance:.4f} {words} A0\n" + lines_of(turns, "")


@given(PATHS)
def test_no_limit_is_exceeded_and_no_tolerance_left(
    drawn: tuple[list[list[float]], float, float | None],
) -> None:
    turns, tolerance, feed = drawn
    arm = replace(
        ARM,
        blend_tolerance_deg=45.0,
        joints=tuple(replace(joint, range_deg=None) for joint in ARM.joints),
    )
    found = planned(text_of(turns, tolerance, feed), arm)
    assert found.refused() == []
    assert found.jerk_excess() <= 1.0
    path = found.path()
    assert furthest(path, found.corners) <= tolerance + ROUNDING_DEG
    assert furthest(found.corners, path) <= tolerance + ROUNDING_DEG


@given(PATHS, LIMITS)
def test_joints_of_any_kind_accept_what_is_planned(
    drawn: tuple[list[list[float]], float, float | None], limits: list[tuple[float, float, float]]
) -> None:
    turns, tolerance, feed = drawn
    joints = tuple(replace(joint, range_deg=None) for joint in unlike(ARM, limits).joints)
    arm = replace(ARM, joints=joints, blend_tolerance_deg=45.0)
    found = planned(text_of(turns, tolerance, max(feed or 600.0, 600.0)), arm)
    assert found.refused() == []
    assert furthest(found.corners, found.path()) <= tolerance + ROUNDING_DEG


@given(PATHS)
def test_every_move_has_its_place_in_time_and_the_end_is_exact_and_at_rest(
    drawn: tuple[list[list[float]], float, float | None],
) -> None:
    arm = replace(ARM, joints=tuple(replace(joint, range_deg=None) for joint in ARM.joints))
    found = planned(text_of(*drawn), arm)
    at_us = 0
    for number, move in enumerate(found.moves, 1):
        assert move.line == number
        assert move.start_us == at_us
        at_us += move.duration_us
        assert all(at_us - move.duration_us < p.time_us <= at_us for p in move.points[0])
    last = found.columns[-1]
    assert [point.time_us for point in last] == [at_us] * 6
    assert [point.velocity for point in last] == [0] * 6
    ends = zip(arm.joints, found.corners[-1], last, strict=True)
    assert all(joint.to_counts(angle) == point.position for joint, angle, point in ends)
    flags = [point.last for column in found.columns for point in column]
    assert flags.count(True) in (0, 6)
    assert all(flags[-6:]) or len(found.columns) == 1


def test_moves_straight_on_are_as_one_move() -> None:
    # 100° in one: D/v + v/a, and the window of averaging: 2a/j (facts.md, computed).
    found = planned("G91 G64\n" + "G0 A0.01\n" * 10_000)
    assert found.duration_s == pytest.approx(100 / V + V / A + 2 * A / J, abs=0.04)
    assert len(found.columns) < 400


def test_a_single_move_in_g64_is_the_fastest_that_ends_at_rest() -> None:
    # facts.md, 90°: D/v + v/a + a/j with the share of a that a plan may use.
    found = planned("G64 G0 A90")
    assert found.duration_s == pytest.approx(90 / V + V / A + A / J, abs=1e-4)


def test_a_corner_is_passed_faster_the_more_tolerance_there_is() -> None:
    times = [planned(f"G64 P{p} G0 A40\nB40").duration_s for p in (0.2, 0.5, 1.0)]
    assert times == sorted(times, reverse=True)
    assert times[-1] < planned("G61.1 G0 A40\nB40").duration_s


def test_the_smaller_of_the_arms_tolerance_and_the_programs_counts() -> None:
    arm = replace(ARM, blend_tolerance_deg=0.3)
    wide = planned("G64 P5 G0 A40\nB40", arm)
    assert wide.columns == planned("G64 P0.3 G0 A40\nB40").columns
    assert wide.columns == planned("G64 G0 A40\nB40", arm).columns


def test_a_closed_circle_like_path_is_gone_round_in_one_go_within_the_tolerance() -> None:
    # Two joints as sine and cosine, 5° a move; a true circle of 20° at v takes v²/r: its least time
    # is 2π·√(r/a) at constant speed (computed).
    turns = [math.radians(5.0 * k) for k in range(73)]
    places = [[20.0 * math.cos(t) - 20.0, 20.0 * math.sin(t)] for t in turns[1:]]
    found = planned("G64 P0.5\n" + lines_of(places, "G0"))
    assert found.refused() == []
    middle = np.array([-20.0, 0, 0, 0, 0, 0])
    radii = np.linalg.norm(found.path() - middle, axis=1)
    chord = 20.0 * math.cos(math.radians(2.5))
    assert radii.max() <= 20.0 + ROUNDING_DEG
    assert radii.min() >= chord - 0.5 - ROUNDING_DEG
    assert found.duration_s >= 2 * math.pi * math.sqrt(20.0 / A)
    assert found.duration_s <= 1.5 * 2 * math.pi * math.sqrt(20.0 / A)
    speeds = [math.hypot(*(p.velocity / 9102.2 for p in column[:2])) for column in found.columns]
    assert min(speeds[5:-5]) > 10.0


def test_a_corner_of_180_degrees_is_turned_back_at_within_the_tolerance() -> None:
    found = planned("G64 P1 G0 A40\nA0\nA40")
    assert found.refused() == []
    highest = found.path()[:, 0].max()
    assert 39.0 - ROUNDING_DEG <= found.path()[:, 0][: len(found.path()) // 2].max() <= 40.0
    assert highest <= 40.0 + ROUNDING_DEG


def test_a_tolerance_larger_than_the_moves_keeps_near_them_all_the_same() -> None:
    found = planned(
        "G64 P10 G0\n".replace("G0", "G0 A1") + "B1\nA0\nB0\nA5",
        replace(ARM, blend_tolerance_deg=10.0),
    )
    # A parabola takes half of either line at most.
    assert furthest(found.path(), found.corners) < 0.5


def test_a_move_with_no_length_is_no_stop() -> None:
    assert planned("G64 G0 A40\nA40\nB40").columns == planned("G64 G0 A40\nB40").columns


def test_dwell_pause_and_exact_stop_are_stops() -> None:
    for between in ("G4 P0.5", "G61.1 G0 A40"):
        found = planned(f"G64 G0 A40\n{between}\nB40")
        assert any(
            column[0].position == ARM.joints[0].to_counts(40.0)
            and not any(point.velocity for point in column)
            for column in found.columns
        ), between


def test_g61_keeps_to_the_path_and_stops_only_at_corners() -> None:
    straight = planned("G61 G0 A20\nA40\nA60")
    one = planned("G61 G0 A60")
    assert straight.duration_s < one.duration_s + 0.5
    assert all(any(p.velocity for p in column) for column in straight.columns[1:-1])
    corner = planned("G61 G0 A20\nB20")
    assert furthest(corner.path(), corner.corners) < ROUNDING_DEG
    assert corner.duration_s == planned("G61.1 G0 A20\nB20").duration_s


def test_into_a_move_in_g61_the_arm_comes_from_rest() -> None:
    found = planned("G64 G0 A40\nG61 B40")
    assert furthest(found.path(), found.corners) < ROUNDING_DEG
    assert planned("G64 G0 A40\nG61.1 B40").duration_s < found.duration_s


def test_another_tolerance_begins_at_rest() -> None:
    found = planned("G64 P1 G0 A40\nP0.5 B40".replace("P0.5 B40", "G64 P0.5 B40"))
    assert furthest(found.path(), found.corners) < ROUNDING_DEG


def test_a_corner_that_cannot_be_passed_within_the_tolerance_is_a_stop_and_told() -> None:
    found = planned("G64 P0.001 G0 A40\nB40")
    corner = found.moves[0].corner
    assert corner is not None
    assert (corner.passed_deg_s, corner.limit) == (0.0, CornerLimit.TOLERANCE)
    assert found.duration_s == planned("G61.1 G0 A40\nB40").duration_s


def test_a_stop_at_a_corner_in_g61_is_what_was_asked_for() -> None:
    assert [move.corner for move in planned("G61 G0 A20\nB20").moves] == [None, None]


def test_who_plays_a_plan_is_not_kept_waiting_by_looking_ahead(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    turns = [math.radians(k) for k in range(1, 361)]
    places = [[math.cos(t) - 1.0, math.sin(t)] for t in turns]
    text = "G64 P0.5\n" + lines_of(places, "G1 F600") + "\nG4 P1\nG61 A5\nA6\nG64 P0.2 B9\nA7\nM2"
    parts = plan_text(text, ARM, pose_at(ARM, [0] * 6), loops=Loops(2))
    expected = list(plan_text(text, ARM, pose_at(ARM, [0] * 6), loops=Loops(2))[0].moves())
    live = list(replace(parts[0], speeds=None).moves())

    def never(*_: object) -> None:
        raise AssertionError("looked ahead")

    monkeypatch.setattr("coordinator.motion.blending.speeds.straying", never)
    (part,) = parts
    assert list(part.moves()) == expected
    assert [replace(move, corner=None) for move in live] == expected


def test_the_feed_is_kept_on_straight_lines_and_never_exceeded() -> None:
    found = planned("G64 G1 F600 A40\nB40\nA0\nB0")
    speeds = [
        math.hypot(
            *(
                p.velocity / joint.counts_per_degree
                for p, joint in zip(column, ARM.joints, strict=True)
            )
        )
        for column in found.columns
    ]
    assert max(speeds) == pytest.approx(10.0, abs=0.01)


def test_moves_beyond_what_is_looked_at_in_one_go_are_passed_too() -> None:
    # More than 2,048 short moves round and round, so that they are not joined.
    turns = [math.radians(2.0 * k) for k in range(3_001)]
    places = [[5.0 * math.cos(t) - 5.0, 5.0 * math.sin(t)] for t in turns[1:]]
    found = planned("G64 P0.5\n" + lines_of(places, "G0"))
    assert found.refused() == []
    speeds = [max(abs(p.velocity) for p in column) / 9102.2 for column in found.columns]
    assert min(speeds[10:-10]) > 5.0
