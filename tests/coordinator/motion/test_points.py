"""Points of single moves: exact ends, limits kept, the line kept, accepted by a joint."""

import math
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.config.arm import Arm, load_arm
from coordinator.core.configure import arm_ramp, configuration_of
from coordinator.motion import PlannedMove, fastest, plan_parts
from coordinator.motion.points import MERGED_US
from coordinator.programs import parse_program
from protocol.constants import ACCELERATION_SHARE, US
from protocol.points import Point, frames_of
from protocol.segments import MIN_SPACING_US, check_segment, hermite
from simulator.joint.buffer import PointBuffer

ARM = load_arm(Path(__file__).parents[3] / "coordinator" / "demo" / "arm.toml")


def plan(text: str, arm: Arm = ARM, start: list[int] | None = None) -> list[PlannedMove]:
    """The moves of a program without pauses."""
    program = parse_program(text + "\nM2", arm.letters)
    (part,) = plan_parts(program, arm, start or [0] * len(arm.joints))
    return list(part.moves())


def unlike(arm: Arm, limits: list[tuple[float, float, float]]) -> Arm:
    """The arm with other velocities, accelerations and jerks."""
    joints = tuple(
        replace(joint, velocity_deg_s=v, acceleration_deg_s2=a, jerk_deg_s3=j)
        for joint, (v, a, j) in zip(arm.joints, limits, strict=True)
    )
    return replace(arm, joints=joints)


def power(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high).map(lambda exponent: 10.0**exponent)


# v/a and the time for a to build up stay below the ten seconds that an arm file allows.
LIMITS = st.lists(st.tuples(power(-1, 2), power(1, 4), power(2, 6)), min_size=6, max_size=6)
TURNS = st.lists(
    st.one_of(
        st.just(0.0),
        st.floats(-90.0, 90.0),
        st.builds(lambda size, sign: size * sign, power(-5, 1), st.sampled_from([-1, 1])),
    ),
    min_size=6,
    max_size=6,
)
FEEDS = st.one_of(st.none(), power(1, 5))


def moving(turns: list[float], feed: float | None) -> str:
    words = " ".join(f"{letter}{turn:.9f}" for letter, turn in zip(ARM.words, turns, strict=True))
    return f"G0 {words}" if feed is None else f"G1 {words} F{feed:.6f}"


def is_slip(turns: list[float], feed: float | None) -> bool:
    return feed is not None and math.hypot(*turns) / feed > 50.0


def test_a_long_move_has_points_at_its_seven_phases_and_reproduces_the_profile() -> None:
    (move,) = plan("G0 A90")
    # 0.8 · 120 °/s² is what a plan may use (design section 5.4).
    profile = fastest(90.0, 60.0, ACCELERATION_SHARE * 120.0, 600.0)
    times = [point.time_us for point in move.points[0]]
    assert times == [round(knot * US) for knot in profile.knots_s[1:]]
    joint = ARM.joints[0]
    for a, b in pairwise([Point(0, 0, 0), *move.points[0]]):
        for part in (0.1, 0.5, 0.9):
            time_us = a.time_us + part * (b.time_us - a.time_us)
            at, velocity, acceleration = profile.at(time_us / US)
            counts, counts_s, counts_s2 = hermite(a, b, time_us)
            # What rounding ends to counts leaves: a count, and 6/h² of acceleration.
            h = (b.time_us - a.time_us) / US
            assert counts == pytest.approx(at * joint.counts_per_degree, abs=1.0)
            assert counts_s == pytest.approx(velocity * joint.counts_per_degree, abs=1 + 1.5 / h)
            assert counts_s2 == pytest.approx(
                acceleration * joint.counts_per_degree, abs=6 / h**2 + 3 / h
            )


# D/v + v/a + a/j with a = 0.8 · 120 (computed; facts.md gives the formula).
def test_a_rapid_move_takes_the_computed_time_with_the_reserve() -> None:
    (move,) = plan("G0 A90")
    assert move.duration_us == pytest.approx((90 / 60 + 60 / 96 + 96 / 600) * US, abs=2)
    assert (move.rapid, move.slowed, move.dwell, move.line) == (True, False, False, 1)


# NISTIR 6556 §2.1.2.5: A40 C30 F600 → 50°, 5 s, plus what acceleration adds: v/a + a/j of the
# joint that turns furthest, at 40/5 °/s; with so little speed 96 °/s² is not reached: 2√(v/j).
def test_a_feed_of_rotary_joints_counts_the_root_of_the_sum_of_squares() -> None:
    (move,) = plan("G1 A40 C30 F600")
    assert move.duration_us == pytest.approx((5.0 + 2 * math.sqrt(8 / 600)) * US, abs=20)
    assert not move.slowed


# NISTIR 6556 §3.5.19: F2 in G93 → 30 s.
def test_an_inverse_time_feed_gives_the_nominal_time() -> None:
    (move,) = plan("G93 G1 A40 C30 F2")
    assert move.duration_us == pytest.approx((30.0 + 2 * math.sqrt(40 / 30 / 600)) * US, abs=20)


def test_a_feed_above_a_joints_velocity_is_kept_to_it_and_reported() -> None:
    rapid, fast, just, below = plan("G0 A90\nG1 A0 F99999\nA90 F3600\nA0 F3599")
    assert rapid.duration_us == fast.duration_us == just.duration_us < below.duration_us
    assert [move.slowed for move in (rapid, fast, just, below)] == [False, True, False, False]


def test_the_slowest_joint_sets_the_pace_of_all() -> None:
    alone, together = plan("G0 A60\nG0 A0 D60 U60")
    assert together.duration_us == alone.duration_us


def test_a_move_to_where_the_arm_is_takes_no_time_and_no_points() -> None:
    away, nothing, back = plan("G0 A10\nA10\nA0")
    assert nothing.duration_us == 0
    assert nothing.points == ((),) * 6
    assert nothing.target_deg == away.target_deg
    assert back.start_us == away.duration_us


def test_a_dwell_is_one_point_at_rest_after_its_time() -> None:
    move, dwell, after = plan("G0 A10\nG4 P1.5\nG0 A0")
    assert dwell.dwell
    assert dwell.duration_us == 1_500_000
    for joint in range(6):
        (point,) = dwell.points[joint]
        assert point == Point(move.duration_us + 1_500_000, move.points[joint][-1].position, 0)
    assert after.start_us == move.duration_us + 1_500_000


def test_a_dwell_shorter_than_the_spacing_of_points_is_lengthened_to_it() -> None:
    _, dwell, _, nothing = plan("G0 A10\nG4 P0.0000001\nG0 A0\nG4 P0")
    assert dwell.duration_us == MIN_SPACING_US
    assert nothing.duration_us == 0
    assert nothing.points == ((),) * 6


def test_a_joint_without_end_turns_past_a_full_turn() -> None:
    (move,) = plan("G0 U725")
    assert move.points[5][-1].position == ARM.joints[5].to_counts(725.0)


@given(TURNS.filter(any), FEEDS, LIMITS)
def test_every_segment_passes_the_check_and_ends_exactly_at_rest(
    turns: list[float], feed: float | None, limits: list[tuple[float, float, float]]
) -> None:
    arm = unlike(ARM, limits)
    if is_slip(turns, feed):
        return
    text = moving(turns, feed)
    ends = [joint.to_counts(float(f"{t:.9f}")) for joint, t in zip(arm.joints, turns, strict=True)]
    if not any(ends):
        return
    (move,) = plan(text, arm)
    assert move.duration_us >= MIN_SPACING_US
    times = [0, *(point.time_us for point in move.points[0])]
    assert all(b - a >= min(MERGED_US, move.duration_us) for a, b in pairwise(times))
    for joint, points, end in zip(arm.joints, move.points, ends, strict=True):
        per_degree = abs(joint.counts_per_degree)
        for a, b in pairwise([Point(0, 0, 0), *points]):
            assert (
                check_segment(
                    a, b, joint.velocity_deg_s * per_degree, joint.acceleration_deg_s2 * per_degree
                )
                is None
            )
        assert points[-1] == Point(move.duration_us, end, 0, last=True)
        assert not any(point.last for point in points[:-1])
        assert [p.time_us for p in points] == [p.time_us for p in move.points[0]]


@given(TURNS.filter(any), FEEDS, LIMITS)
def test_a_move_stays_on_the_straight_line(
    turns: list[float], feed: float | None, limits: list[tuple[float, float, float]]
) -> None:
    arm = unlike(ARM, limits)
    turns = [*turns[:5], turns[5] + 100.0]  # one joint always moves
    if is_slip(turns, feed):
        return
    (move,) = plan(moving(turns, feed), arm)
    whole = [points[-1].position for points in move.points]
    furthest = max(range(6), key=lambda k: abs(whole[k]))
    before = [Point(0, 0, 0)] * 6
    for column in zip(*move.points, strict=True):
        h = (column[0].time_us - before[0].time_us) / US
        for part in (0.25, 0.5, 0.75, 1.0):
            time_us = before[0].time_us + part * h * US
            at = [hermite(a, b, time_us)[0] for a, b in zip(before, column, strict=True)]
            share = at[furthest] / whole[furthest]
            for k in range(6):
                # Both joints are rounded: by half a count, and by half a count per second at
                # either end, each of which moves a cubic by at most 4/27·h·½.
                assert abs(at[k] - share * whole[k]) <= 2 * 0.5 + 4 * (4 / 27) * h * 0.5 + 0.01
        before = list(column)


@given(TURNS.filter(any), FEEDS, LIMITS)
def test_the_jerk_is_lowered_for_short_phases_at_the_cost_of_some_milliseconds_only(
    turns: list[float], feed: float | None, limits: list[tuple[float, float, float]]
) -> None:
    arm = unlike(ARM, limits)
    if is_slip(turns, feed) or not any(abs(turn) > 1e-4 for turn in turns):
        return
    # From count to count, as the move is made.
    turns = [j.to_degrees(j.to_counts(turn)) for j, turn in zip(arm.joints, turns, strict=True)]
    (move,) = plan(moving(turns, feed), arm)
    ratios = [(abs(turn), joint) for turn, joint in zip(turns, arm.joints, strict=True) if turn]
    furthest = max(turn for turn, _ in ratios)
    cruise = min(joint.velocity_deg_s * furthest / turn for turn, joint in ratios)
    if feed is not None:
        cruise = min(cruise, furthest * feed / 60.0 / math.hypot(*turns))
    ideal = fastest(
        furthest,
        cruise,
        min(ACCELERATION_SHARE * joint.acceleration_deg_s2 * furthest / t for t, joint in ratios),
        min(joint.jerk_deg_s3 * furthest / turn for turn, joint in ratios),
    )
    # All phases together grow to a few times the shortest that needs no merging.
    assert move.duration_us >= ideal.duration_s * US * (1 - 1e-3) - 1
    assert move.duration_us <= ideal.duration_s * US * (1 + 1e-3) + 5 * MERGED_US


@given(TURNS.filter(any), FEEDS, LIMITS)
def test_a_software_joint_accepts_every_point(
    turns: list[float], feed: float | None, limits: list[tuple[float, float, float]]
) -> None:
    turns = [*turns[:5], turns[5] + 100.0]
    if is_slip(turns, feed):
        return
    arm = unlike(ARM, limits)
    # Ranges end where the move does, so that any overshoot leaves them; none shrinks to nothing.
    joints = []
    for joint, turn in zip(arm.joints[:5], turns, strict=False):
        end = float(f"{turn:.9f}")
        low, high = (end, 0.0) if end < 0.0 else (0.0, end)
        homing = replace(joint.homing, fast_deg_s=0.05, slow_deg_s=0.05)
        wide = high - low > 0.1
        joints.append(replace(joint, homing=homing, range_deg=(low, high) if wide else None))
    tool = arm.joints[5]
    joints.append(replace(tool, homing=replace(tool.homing, fast_deg_s=0.05, slow_deg_s=0.05)))
    arm = replace(arm, joints=tuple(joints))
    (move,) = plan(moving(turns, feed), arm)
    ramp = arm_ramp(arm)
    for joint, points in zip(arm.joints, move.points, strict=True):
        buffer = PointBuffer(256)
        for frame in frames_of(1, 0, [Point(0, 0, 0), *points]):
            assert buffer.take(frame, configuration_of(joint, ramp)) is None
