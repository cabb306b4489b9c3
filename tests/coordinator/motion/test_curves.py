"""What each joint does over path time, as it is drawn."""

import math
from itertools import pairwise

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from coordinator.motion import check_program
from coordinator.motion.curves import Curves, curves
from coordinator.motion.marks import MOST_MARKS, MarkKind
from coordinator.motion.plan import plan_text
from coordinator.motion.route import pose_of
from coordinator.motion.stretches import STRETCHES, reach
from coordinator.programs import ProgramError
from protocol.points import Point
from protocol.segments import MIN_SPACING_US, hermite
from tests.coordinator.motion.test_plan import ARM

ZERO_DEG = [0.0] * 6
TEXT = "G0 A10\nM0\nG4 P1\nG0 A-5 B3\nM2\n"
LETTERS = {joint.word: joint.name for joint in ARM.joints}


def found(text: str) -> Curves:
    return curves(text, ARM, ZERO_DEG)


def test_curves_begin_where_the_arm_stands_and_end_where_the_program_does() -> None:
    seen = found(TEXT)
    assert seen.begins == "here"
    duration_s = check_program(TEXT, ARM, ZERO_DEG).duration_s
    assert duration_s is not None
    step_s = seen.time_s[1]
    assert seen.time_s[0] == 0.0
    assert seen.time_s[-1] <= duration_s < seen.time_s[-1] + step_s
    assert {round(b - a, 6) for a, b in pairwise(seen.time_s)} == {step_s}
    assert STRETCHES // 4 < len(seen.time_s) <= 2 * STRETCHES
    assert (seen.low_deg["turntable"][-1], seen.high_deg["shoulder"][-1]) == pytest.approx(
        (-5.0, 3.0), abs=0.001
    )
    assert len({len(every) for every in (seen.lines, *seen.low_deg.values())}) == 1


def test_line_of_each_stretch_is_the_one_that_is_played_then() -> None:
    seen = found(TEXT)
    assert sorted(set(seen.lines)) == [1, 3, 4]
    assert list(seen.lines) == sorted(seen.lines)
    still = [k for k, line in enumerate(seen.lines) if line == 3][1:-1]
    assert {round(seen.low_deg["turntable"][k], 3) for k in still} == {10.0}
    assert {round(seen.high_deg["turntable"][k], 3) for k in still} == {10.0}


def test_excursion_that_is_short_in_a_long_program_is_drawn_to_its_end() -> None:
    peck = "G0 A1\nG4 P3000\nG0 B-3\nB0\nG4 P3000\nM2\n"
    seen = found(peck)
    assert seen.time_s[1] > 2.0
    assert min(seen.low_deg["shoulder"]) == pytest.approx(-3.0, abs=0.001)
    assert len(seen.time_s) <= 2 * STRETCHES


def test_a_joint_that_turns_back_at_a_passed_end_is_drawn_to_where_it_came() -> None:
    text = "G64 P1\nG1 F3000 A20\nA0 B20\nA10 B30\nM2\n"
    (part,) = plan_text(text, ARM, pose_of(ARM, ZERO_DEG))
    far, at = 0.0, part.first_points()[0]
    for move in part.moves():
        for point in move.points[0]:
            span_us = point.time_us - at.time_us
            between = (hermite(at, point, at.time_us + span_us * k / 64)[0] for k in range(65))
            far, at = max(far, *between), point
    reached = max(found(text).high_deg["turntable"])
    assert reached == pytest.approx(ARM.joints[0].to_degrees(round(far)), abs=0.001)
    assert reached > 19.0  # the corner's tolerance is a degree


@given(st.lists(st.tuples(st.sampled_from("ABC"), st.integers(-60, 60)), min_size=1, max_size=12))
def test_reach_of_each_joint_is_that_of_the_ends_of_its_moves(moves: list[tuple[str, int]]) -> None:
    text = "\n".join([*(f"G0 {letter}{angle}" for letter, angle in moves), "M2", ""])
    seen = found(text)
    for letter in "ABC":
        ends = [0, *(angle for one, angle in moves if one == letter)]
        name = LETTERS[letter]
        assert min(seen.low_deg[name]) == pytest.approx(min(ends), abs=0.001)
        assert max(seen.high_deg[name]) == pytest.approx(max(ends), abs=0.001)


def test_fastest_stretch_of_a_curve_keeps_the_limit_of_its_joint() -> None:
    seen = found("G0 A90\nM2\n")
    joint = ARM.joints[0]
    step_s = seen.time_s[1]
    speeds = [(b - a) / step_s for a, b in pairwise(seen.low_deg[joint.name])]
    assert 0.9 * joint.velocity_deg_s < max(speeds) < 1.01 * joint.velocity_deg_s


def test_program_that_moves_nothing_is_one_instant() -> None:
    seen = curves("M2\n", ARM)
    assert (seen.begins, seen.time_s, seen.lines) == ("park", (0.0,), (0,))
    assert found("M2\n").low_deg == {joint.name: (0.0,) for joint in ARM.joints}


def test_program_with_mistakes_has_no_curves() -> None:
    with pytest.raises(ProgramError):
        curves("G2 X1\n", ARM)


# ---- speed and acceleration -------------------------------------------------------------------

# A jerk-limited move from rest to rest (Biagiotti & Melchiorri 2008 §3.4, from memory; the same
# figures by ruckig 0.19.4 where a is the whole limit): the turntable's v 60 °/s and j 600 °/s³, and
# of its 120 °/s² the 96 that a plan may use.
V, A, J = 60.0, 96.0, 600.0


def peaks_of(far_deg: float) -> tuple[float, float, float]:
    """Duration, top speed, greatest acceleration."""
    if far_deg >= V * (V / A + A / J):
        return far_deg / V + V / A + A / J, V, A
    top = 0.5 * (-A * A / J + math.sqrt(A**4 / J**2 + 4 * A * far_deg))
    if top >= A * A / J:
        return 2 * (top / A + A / J), top, A
    quarter_s = (far_deg / (2 * J)) ** (1 / 3)
    return 4 * quarter_s, J * quarter_s**2, J * quarter_s


@pytest.mark.parametrize("far_deg", [90.0, 20.0, 1.0])
@pytest.mark.parametrize("way", [1, -1])
def test_speed_and_acceleration_of_a_move_are_those_of_the_closed_form(
    far_deg: float, way: int
) -> None:
    assert peaks_of(90.0) == pytest.approx((2.285, 60.0, 96.0))
    duration_s, top, hardest = peaks_of(far_deg)
    seen = found(f"G0 A{way * far_deg}\nM2\n")
    assert seen.duration_s == pytest.approx(duration_s, abs=2e-3)
    name = LETTERS["A"]
    assert max(seen.high_deg_s2[name]) == pytest.approx(hardest, rel=0.01)
    assert min(seen.low_deg_s2[name]) == pytest.approx(-hardest, rel=0.01)
    forward, back = max(seen.high_deg_s[name]), min(seen.low_deg_s[name])
    assert (forward if way > 0 else -back) == pytest.approx(top, rel=0.002)
    assert (back if way > 0 else forward) == pytest.approx(0.0, abs=0.01)
    assert set(seen.high_deg_s[LETTERS["B"]]) == set(seen.low_deg_s2[LETTERS["B"]]) == {0.0}


def test_speed_at_each_time_is_that_of_the_closed_form() -> None:
    seen = found("G0 A90\nM2\n")
    name = LETTERS["A"]
    for k, time_s in enumerate(seen.time_s):
        if time_s + seen.time_s[1] < A / J:  # the jerk still acts: a = j·t, v = j·t²/2
            assert seen.low_deg_s2[name][k] == pytest.approx(J * time_s, abs=0.5)
            assert seen.low_deg_s[name][k] == pytest.approx(J * time_s**2 / 2, abs=0.05)


def test_limits_stand_beside_the_curves() -> None:
    seen = found("M2\n")
    assert seen.velocity_deg_s["turntable"] == 60.0
    assert (seen.acceleration_deg_s2["turntable"], seen.plan_deg_s2["turntable"]) == (120.0, 96.0)
    assert seen.velocity_deg_s.keys() == seen.plan_deg_s2.keys() == seen.low_deg.keys()


@given(
    st.integers(MIN_SPACING_US, 2_000_000),
    st.tuples(*[st.integers(-100_000, 100_000)] * 3),
    st.tuples(st.floats(0, 1), st.floats(0, 1)),
)
def test_nothing_within_a_stretch_is_beyond_its_least_and_greatest(
    span_us: int, figures: tuple[int, int, int], ends: tuple[float, float]
) -> None:
    rise, begin, end = figures
    a, b = Point(0, 0, begin), Point(span_us, rise, end)
    from_us, to_us = sorted(round(one * span_us) for one in ends)
    assume(from_us < to_us)
    low, high = reach(a, b, from_us, to_us)
    times_us = [from_us + (to_us - from_us) * k / 200 for k in range(201)]
    told = list(zip(*(hermite(a, b, time_us) for time_us in times_us), strict=True))
    for values, least, greatest in zip(told, low, high, strict=True):
        close = 1e-6 * (1 + max(map(abs, values)))
        assert least - close <= min(values)
        assert max(values) <= greatest + close
        # Each is reached: a cubic leaves less than this between two of the instants.
        gap = close + 0.03 * (max(values) - min(values))
        assert min(values) - least <= gap
        assert greatest - max(values) <= gap


# ---- marks ------------------------------------------------------------------------------------


def test_dwells_switches_waits_and_pauses_are_marked_where_they_are() -> None:
    seen = found("G0 A1\nM3\nG4 P0.5\nM5\nM0\nG0 A0\nM1\nM2\n")
    told = [(mark.kind, mark.line, mark.name, mark.on) for mark in seen.marks]
    assert told == [
        ("output", 2, "gripper", True),
        ("wait", 2, "seedling_held", True),
        ("dwell", 3, "", None),
        ("output", 4, "gripper", False),
        ("pause", 5, "", None),
    ]
    switched, _, dwell, _, pause = seen.marks
    assert dwell.end_s - dwell.begin_s == pytest.approx(0.5)
    # A degree takes 4·∛(1/1200) s; a switch is at its point, a millisecond later.
    assert switched.begin_s == pytest.approx(peaks_of(1.0)[0] + 0.001, abs=2e-3)
    assert dwell.begin_s == switched.end_s
    assert pause.begin_s == pytest.approx(dwell.end_s + 0.001)
    assert seen.more_marks == {}
    assert found("M2\n").marks == ()


def test_ends_that_are_passed_are_marked_and_those_at_rest_are_not() -> None:
    moves = "G1 A20 F1200\nA40 B20\nA60\nM2\n"
    passed = [(mark.kind, mark.line) for mark in found(f"G64 P1\n{moves}").marks]
    assert passed == [("passed", 2), ("passed", 3)]
    assert found(f"G61.1\n{moves}").marks == ()
    # Straight on there is no corner, and none of the ends within is a rest.
    straight = found("G61\nG1 A20 F1200\nA40\nA60\nM2\n").marks
    assert [(mark.kind, mark.line) for mark in straight] == [("passed", 2), ("passed", 3)]
    assert 0.0 < straight[0].begin_s < straight[1].begin_s


def test_of_each_kind_a_thousand_marks_are_told_and_how_many_more_there_are() -> None:
    seen = found("G4 P0.01\n" * (MOST_MARKS + 3) + "M0\nM2\n")
    kinds = [mark.kind for mark in seen.marks]
    assert (kinds.count(MarkKind.DWELL), kinds.count(MarkKind.PAUSE)) == (MOST_MARKS, 1)
    assert seen.more_marks == {"dwell": 3}
