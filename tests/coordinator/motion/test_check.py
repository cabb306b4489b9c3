"""What `unisono check` says of a program, and that the demo program is sound."""

import json
from dataclasses import asdict, replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import root

from coordinator.config.arm import load_arm
from coordinator.motion import CheckResult, check_program, plan_parts
from coordinator.motion.points import CornerLimit
from coordinator.programs import Problem, Switches, parse_program

DEMO = Path(__file__).parents[3] / "coordinator" / "demo"
ARM = load_arm(DEMO / "arm.toml")
PROGRAM = (DEMO / "prick_out_tray.nc").read_text(encoding="utf-8")
ZERO = [0.0] * 6


def test_a_sound_program_gives_its_moves_and_its_duration() -> None:
    # NISTIR 6556 §2.1.2.5 and §3.5.19: 5 s and 30 s nominal; acceleration adds 2√(v/j).
    result = check_program("G1 A40 C30 F600\nG4 P2\nG93 G1 A0 C0 F2\nM2", ARM, ZERO)
    assert result.ok
    assert result.errors == ()
    assert result.slower == ()
    assert [(move.line, move.rapid) for move in result.moves] == [(1, False), (3, False)]
    assert result.moves[0].target == {"A": 40, "B": 0, "C": 30, "D": 0, "E": 0, "U": 0}
    assert result.moves[0].duration_s == pytest.approx(5.0 + 2 * (8 / 600) ** 0.5, abs=1e-4)
    assert result.moves[1].duration_s == pytest.approx(30.0 + 2 * (40 / 30 / 600) ** 0.5, abs=1e-4)
    assert result.duration_s == pytest.approx(
        sum(move.duration_s for move in result.moves) + 2.0, abs=1e-9
    )


def test_pauses_add_nothing_and_a_move_to_the_same_place_takes_no_time() -> None:
    with_pause = check_program("G0 A10\nM0\nA10\nA0\nM2", ARM, ZERO)
    without = check_program("G0 A10\nA0\nM2", ARM, ZERO)
    assert with_pause.duration_s == without.duration_s
    assert (with_pause.pauses, without.pauses) == (1, 0)
    assert with_pause.moves[1].duration_s == 0.0


def test_a_move_slower_than_asked_is_named_with_joint_limit_and_both_times() -> None:
    result = check_program("G1 A90 B30 F6000\nG1 A0 B0 F600\nM2", ARM, ZERO)
    assert result.ok
    (slower,) = result.slower
    asked_s = 60 * (90**2 + 30**2) ** 0.5 / 6000
    assert (slower.line, slower.joint, slower.velocity_deg_s) == (1, "turntable", 60.0)
    assert slower.asked_s == pytest.approx(asked_s)
    assert slower.asked_deg_s == pytest.approx(90 / asked_s)
    assert slower.duration_s == result.moves[0].duration_s


def test_the_joint_that_slows_a_move_down_need_not_be_the_one_that_turns_furthest() -> None:
    slow = replace(ARM.joints[2], velocity_deg_s=10.0)
    arm = replace(ARM, joints=(*ARM.joints[:2], slow, *ARM.joints[3:]))
    result = check_program("G1 A90 C30 F6000\nM2", arm, ZERO)
    (slower,) = result.slower
    assert (slower.joint, slower.velocity_deg_s) == (slow.name, 10.0)
    assert slower.asked_deg_s == pytest.approx(30 / slower.asked_s)
    assert slower.duration_s > 30 / 10.0


def test_errors_of_reading_and_of_range_come_together_in_file_order() -> None:
    result = check_program("G0 A171\nX1\nG1 A0\nB-96", ARM, ZERO)
    assert not result.ok
    assert (result.duration_s, result.moves, result.slower) == (None, (), ())
    assert [(e.line, e.column) for e in result.errors] == [
        (1, 4),
        (2, 1),
        (3, 1),
        (4, 1),
        (4, 4),
    ]
    assert isinstance(result.errors[0], Problem)
    assert "turntable would go to 171°" in result.errors[0].message
    assert "feed rate" in result.errors[2].message
    assert "shoulder would go to -96°" in result.errors[3].message


def test_text_behind_the_end_is_a_remark_and_no_mistake() -> None:
    # What follows M2 or M30, or the second % line, is not read (NISTIR 6556 §3.1, from memory).
    result = check_program("G0 A10\nM2\n\nG0 A171\n???", ARM, ZERO)
    assert result.ok
    assert result.remarks == (
        Problem(4, 1, "from here on nothing is read: the program ends on line 2"),
    )
    assert check_program("%\nG0 A10\nM2\n%\n", ARM, ZERO).remarks == ()
    assert check_program("G0 A171\nM2\n\nG0 A1", ARM, ZERO).remarks == result.remarks


def test_a_line_number_that_stands_twice_is_a_remark_that_names_both_lines() -> None:
    # "Line numbers may be repeated" (NISTIR 6556 §3.3.1, from memory): no mistake.
    text = "N10 G0 A1\nN20 A2\n/N30 A3\n N010 A4\nN30 A5\nM2\n"
    meant = "to begin from a line, lines of the text are counted, and N words say nothing"
    result = check_program(text, ARM, ZERO)
    assert result.ok
    assert result.remarks == (
        Problem(4, 2, f"N010 is the line number of line 1 too; {meant}"),
        Problem(5, 1, f"N30 is the line number of line 3 too; {meant}"),
    )
    without = check_program(text, ARM, ZERO, Switches(block_delete=True))
    assert [one.line for one in without.remarks] == [4]


def test_of_many_line_numbers_that_stand_twice_the_first_are_told_and_how_many_follow() -> None:
    lines = [f"N{k % 10} A{k % 7}" for k in range(60)]
    remarks = check_program("\n".join(["G0", *lines, "M2\n"]), ARM, ZERO).remarks
    assert [one.line for one in remarks] == list(range(12, 33))
    assert remarks[-1].message == "from here on 30 more lines have a line number that stood before"
    text = "G0 A1\nN99999 A2\nN1 A1\nM2\nN1 A2"
    assert [one.line for one in check_program(text, ARM, ZERO).remarks] == [5]  # not read


def test_corners_passed_slower_than_asked_are_told_with_limit_and_both_speeds() -> None:
    wide = replace(ARM, blend_tolerance_deg=9.0)
    (near,) = check_program("G64 P1 G1 F3000 A40\nB40\nM2", wide, ZERO).corners
    assert (near.line, near.limit, near.joint) == (1, CornerLimit.TOLERANCE, None)
    assert near.asked_deg_s == pytest.approx(50.0)
    assert 0 < near.passed_deg_s < 50.0
    assert near.why == "faster it would leave the tolerance"
    # So small a tolerance that a stop is sooner.
    (stops,) = check_program("G64 P0.5 G1 F3000 A40\nB40\nM2", wide, ZERO).corners
    assert (stops.limit, stops.passed_deg_s) == (CornerLimit.TOLERANCE, 0.0)
    (short,) = check_program("G64 P9 G1 F3000 A8\nB8\nM2", wide, ZERO).corners
    assert (short.line, short.limit) == (1, CornerLimit.ACCELERATION)
    assert short.joint in {"turntable", "shoulder"}
    assert short.why == f"{short.joint} has no more acceleration for so short a turn"
    way = check_program("G64 P9 G1 F3000 A1\nA2 F2999\nM2", wide, ZERO).corners
    assert [(one.line, one.limit) for one in way] == [(1, CornerLimit.WAY)]
    # A corner that is passed as asked is none to be told.
    assert check_program("G64 P5 G1 F60 A40\nB40\nM2", ARM, ZERO).corners == ()


def test_a_rapid_move_at_a_share_of_full_speed_takes_its_time_by_that_share() -> None:
    full, half = check_program("G0 A100\nA0 (UNISONO, speed 50)\nM2", ARM, ZERO).moves
    speed = ARM.joints[0].velocity_deg_s
    # At constant speed 100° take 100/v; what acceleration and jerk add is less at half the speed.
    assert half.duration_s > 2 * 100 / speed
    assert half.duration_s - 2 * 100 / speed < full.duration_s - 100 / speed
    assert half.rapid


def test_a_program_begins_at_the_pose_park_unless_told_otherwise() -> None:
    target = check_program("G91 G0 A1\nM2", ARM).moves[0].target
    park = dict(zip(ARM.words, ARM.poses["park"], strict=True))
    assert target == {**park, "A": park["A"] + 1}
    with pytest.raises(ValueError, match="zip"):
        check_program("M2", ARM, [0.0])


def test_sums_of_distances_are_shown_without_their_rounding() -> None:
    result = check_program("G91 G0 A0.1\nA0.2\nM2", ARM, ZERO)
    assert result.moves[1].target["A"] == 0.3


def test_the_result_is_fit_for_json() -> None:
    result = check_program("G1 A90 F60000\nM2", ARM, ZERO)
    data = json.loads(json.dumps(asdict(result), allow_nan=False))
    assert set(data) == {
        "ok",
        "begins",
        "duration_s",
        "pauses",
        "edges_s",
        "moves",
        "slower",
        "corners",
        "errors",
        "remarks",
        "overtravel",
        "seam",
        "more",
    }
    assert data["begins"] == "here"
    assert check_program("M2", ARM).begins == "park"
    assert set(data["moves"][0]) == {
        "line",
        "target",
        "rapid",
        "duration_s",
        "approach",
        "overtravel",
        "overtravel_s",
    }
    bad = json.loads(json.dumps(asdict(check_program("X", ARM)), allow_nan=False))
    assert set(bad["errors"][0]) == {"line", "column", "message"}


def test_of_very_many_moves_the_first_are_told_and_the_rest_counted(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("coordinator.motion.check.MOST_TOLD", 3)
    text = "".join(f"G1 A{k} F60000\n" for k in range(1, 6)) + "M2"
    result = check_program(text, ARM, ZERO)
    assert [move.line for move in result.moves] == [1, 2, 3]
    assert result.more == {"moves": 2, "slower": 2}


def test_the_demo_program_runs_in_half_a_minute_and_as_fast_as_it_asks() -> None:
    result = check_program(PROGRAM, ARM)
    assert result.errors == ()
    assert result.slower == ()
    assert result.duration_s is not None
    assert 25 <= result.duration_s <= 40
    park = dict(zip(ARM.words, ARM.poses["park"], strict=True))
    assert result.moves[-1].target == park


def test_the_check_agrees_with_what_a_run_would_get() -> None:
    start = [joint.to_counts(at) for joint, at in zip(ARM.joints, ARM.poses["park"], strict=True)]
    parts = plan_parts(parse_program(PROGRAM, ARM.letters), ARM, start)
    planned_us = sum(move.duration_us for part in parts for move in part.moves())
    assert check_program(PROGRAM, ARM).duration_s == pytest.approx(planned_us / 1e6, abs=1e-4)


@given(
    st.lists(
        st.one_of(
            st.text(max_size=20),
            st.text(alphabet=st.sampled_from("GAUF0149.-"), max_size=20),
            st.sampled_from(["G1 A1 F60", "G91 G0 U9", "G93 G1 A9 F.0001", "G90", "M0", "F99999"]),
        ),
        max_size=8,
    )
)
def test_any_text_gets_a_result_that_json_can_hold(lines: list[str]) -> None:
    result = check_program("\n".join([*lines, "M2"]), ARM, ZERO)
    assert isinstance(result, CheckResult)
    assert result.ok == (not result.errors) == (result.duration_s is not None)
    json.dumps(asdict(result), allow_nan=False)


def test_a_check_tells_with_what_another_loop_would_begin() -> None:
    found = check_program("G0 A10\nA40\nM2\n", ARM, ZERO).seam
    assert found is not None
    assert (found.line, found.turns_deg, found.obstacle) == (1, {"turntable": -30.0}, "")
    # As the same move is made from there by itself.
    alone = check_program("G0 A10\nM2\n", ARM, [40.0, 0, 0, 0, 0, 0])
    assert found.duration_s == pytest.approx(alone.duration_s)


def test_loops_that_end_as_they_begin_have_no_seam_and_one_that_leaves_the_range_says_so() -> None:
    assert check_program("G0 A10\nA0\nM2\n", ARM, ZERO).seam is None
    assert check_program("G0 A10\nM2\n", ARM, ZERO).seam is None
    found = check_program("G91 G0 A100\nM2\n", ARM, ZERO).seam
    assert found is not None
    assert found.obstacle.startswith("turntable would go to 200°, beyond its limit of 170°")


def test_an_arm_whose_own_figures_leave_too_little_supply_is_remarked_on_where_it_moves() -> None:
    thin = replace(ARM, joints=tuple(replace(one, hop_resistance_ohm=2.0) for one in ARM.joints))
    text = "G4 P1\nG0 A10\nM2"
    assert check_program(text, ARM, ZERO).remarks == ()
    (remark,) = check_program(text, thin, ZERO).remarks
    assert remark.line == 2
    watts = [1.0 + 2.0 * one.run_current_a**2 for one in thin.joints]

    def unbalanced(volts: list[float]) -> list[float]:
        drawn = [p / v for p, v in zip(watts, volts, strict=True)]
        before = [24.0, *volts[:-1]]
        return [before[k] - volts[k] - 2.0 * sum(drawn[k:]) for k in range(6)]

    tool_v = root(unbalanced, [24.0] * 6).x[5]
    assert remark.message.startswith(f"with all joints in motion tool has {tool_v:.1f} V by the")
    assert "below its supply_limit_v 18 V tool stops" in remark.message
    assert check_program("G4 P1\nM2", thin, ZERO).remarks == ()
