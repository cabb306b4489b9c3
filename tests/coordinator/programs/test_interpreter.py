"""The language: modal groups, order of execution, errors. Sections are those of NISTIR 6556."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.programs import (
    Dwell,
    End,
    Move,
    Output,
    Pause,
    ProgramError,
    Step,
    parse_program,
    read_program,
)

LETTERS = {
    "A": "turntable", "B": "shoulder", "C": "elbow", "D": "forearm", "E": "wrist", "U": "tool",
}  # fmt: skip


def steps(text: str) -> tuple[Step, ...]:
    """The steps of lines that are put before an M2."""
    program = parse_program(text + "\nM2", LETTERS)
    assert isinstance(program.steps[-1], End)
    return tuple(program.steps)[:-1]


def moves(text: str) -> list[Move]:
    return [step for step in steps(text) if isinstance(step, Move)]


def mistakes(text: str) -> list[tuple[int, int, str]]:
    with pytest.raises(ProgramError) as caught:
        parse_program(text + "\nM2", LETTERS)
    return [(p.line, p.column, p.message) for p in caught.value.problems]


def angles(move: Move) -> dict[str, float]:
    return {list(LETTERS)[target.joint]: target.degrees for target in move.targets}


def test_rapid_and_straight_moves_name_joints_line_and_column() -> None:
    first, second = moves("N10 g0 a-5 u 370\nG1 B.5 F600")
    assert (first.line, first.column, first.rapid, first.relative) == (1, 5, True, False)
    assert angles(first) == {"A": -5.0, "U": 370.0}
    assert [target.column for target in first.targets] == [8, 12]
    assert (first.feed_deg_min, first.nominal_s) == (None, None)
    assert (second.line, second.rapid, second.feed_deg_min) == (2, False, 600.0)
    assert angles(second) == {"B": 0.5}


def test_tool_outputs_are_switched_before_a_dwell_and_a_move_of_their_line() -> None:
    # Spindle and coolant stand before dwell, dwell before motion (NISTIR 6556 Table 8).
    found = steps("G0 A1 M3\nG4 P1 M08\nM5 M9")
    assert [type(step).__name__ for step in found] == [
        "Output", "Move", "Output", "Dwell", "Output", "Output"
    ]  # fmt: skip
    switched = [step for step in found if isinstance(step, Output)]
    assert [(step.line, step.column, step.word) for step in switched] == [
        (1, 7, "M3"), (2, 7, "M8"), (3, 1, "M5"), (3, 4, "M9"),
    ]  # fmt: skip


def test_path_control_mode_is_modal_and_begins_as_exact_stop() -> None:
    # G61 exact path, G61.1 exact stop, G64 continuous (NISTIR 6556 §3.5.14).
    found = moves("G0 A1\nG64 A2\nA3\nG61.1 A4\nG64\nA5\nG61 A6")
    modes = [move.path_control for move in found]
    assert modes == ["G61.1", "G64", "G64", "G61.1", "G64", "G61"]
    assert {move.tolerance_deg for move in found} == {None}


def test_p_of_g64_is_a_tolerance_that_holds_until_another_path_control_mode() -> None:
    # The project's dialect: the standard's G64 has no parameter (§3.5.14).
    found = moves("G0 G64 P2.5 A1\nA2\nG64 A3\nG64 P45 A4\nG61 A5\nA6\nP0.001 G64\nA7")
    assert [move.tolerance_deg for move in found] == [2.5, 2.5, None, 45.0, None, None, 0.001]


def test_g80_ends_the_motion_mode_until_the_next_g0_or_g1() -> None:
    # §3.5.15.
    assert [move.rapid for move in moves("G1 A1 F60\nG80\nG4 P1\nM0\nG0 A2\nG80 G91\nG1 A3")] == [
        False, True, False,
    ]  # fmt: skip


def test_examples_of_section_3_that_the_language_has() -> None:
    # §3.3.4, from memory; those of §3.3, §2.1.2.5 and §3.5.19 stand in tests of their own.
    (output,) = steps("G80 M5 (stop motion)")
    assert isinstance(output, Output)
    assert output.word == "M5"


def test_examples_of_section_3_that_it_does_not_have_are_refused_where_they_stand() -> None:
    # §3.5.16.1, §3.3.2.3 and §3.3.5, from memory.
    assert [column for _, column, _ in mistakes("G90 G81 G98 X4 Y5 Z1.5 R2.8")] == [5, 9]
    assert [column for _, column, _ in mistakes("G0 A[1 + acos[0] - [#3 ** [4.0/2]]]")] == [5]
    assert [column for _, column, _ in mistakes("G0 #3=15 #3=6 A#3")] == [4]


def test_m0_and_m60_pause_always_and_m1_where_the_operator_wants_it() -> None:
    # §3.6.1.
    assert steps("M0\nM1\nM60") == (Pause(1), Pause(2, optional=True), Pause(3))


def test_an_active_comment_has_a_rapid_move_made_at_a_share_of_full_speed() -> None:
    found = moves("G0 A1 (UNISONO, speed 40)\nA2\nA3(unisono,speed 2.5 % )(a tray)\nA4 (speed 9)")
    assert [move.share for move in found] == [0.4, 1.0, 0.025, 1.0]


def test_a_move_has_the_first_ordinary_comment_of_its_line() -> None:
    found = moves(
        "(far) G0 A1\nA2 ( above tray )(x)\n(UNISONO, speed 4)A3(y)\nA4 (UNISONO, speed 5)"
    )
    assert [move.comment for move in found] == ["far", "above tray", "y", ""]


def test_motion_mode_feed_and_distance_mode_are_modal() -> None:
    found = moves("G1 A1 F60\nA2\nG91\nA3 F30\nG0 A4\nA5\nG90 A6\nG1 A7")
    assert [move.rapid for move in found] == [False, False, False, True, True, True, False]
    assert [move.feed_deg_min for move in found] == [60, 60, 30, None, None, None, 30]
    assert [move.relative for move in found] == [False, False, True, True, True, False, False]
    assert found[1].column == 1


def test_where_e_is_a_joint_a_space_makes_it_a_target_beside_a_feed() -> None:
    (move,) = moves("G1 F1 E3")
    assert (move.feed_deg_min, angles(move)) == (1.0, {"E": 3.0})


def test_order_of_execution_is_that_of_table_8() -> None:
    # Feed mode, feed rate, dwell, distance mode, motion, stop, wherever they stand on the line.
    found = steps("M0 A1 G1 G4 P2 G91 F5 G93")
    assert [type(step) for step in found] == [Dwell, Move, Pause]
    move = found[1]
    assert isinstance(move, Move)
    assert move.relative
    assert move.nominal_s == 12.0


def test_a_dwell_is_in_seconds_and_may_be_zero() -> None:
    # §3.5.4.
    assert steps("G4 P2.5\nG04 P0") == (Dwell(1, 4, 2.5), Dwell(2, 5, 0.0))


def test_a_dwell_leaves_the_motion_mode_alone() -> None:
    found = steps("G0 A1\nG4 P1 A2")
    assert [type(step) for step in found] == [Move, Dwell, Move]


def test_inverse_time_feed_is_one_over_minutes() -> None:
    # §3.5.19: F2 → 30 s.
    (move,) = moves("G93 G1 A40 F2")
    assert (move.nominal_s, move.feed_deg_min) == (30.0, None)


def test_inverse_time_needs_f_on_every_g1_line_and_on_no_other() -> None:
    # §3.5.19.
    assert mistakes("G93\nG1 A1 F2\nA2\nG0 A3\nF9\nG1 A4") == [
        (3, 1, "in G93 every line that moves by G1 needs its own F"),
        (6, 1, "in G93 every line that moves by G1 needs its own F"),
    ]


def test_a_feed_does_not_survive_a_change_of_its_unit() -> None:
    # The project's own rule: the standard says nothing, and degrees a minute are no 1/min.
    assert mistakes("G1 A1 F60\nG93 A2 F2\nG94\nA3") == [
        (4, 1, "G1 needs a feed rate F, and none has been set in G94")
    ]
    assert moves("G1 A1 F60\nG94\nA2")[1].feed_deg_min == 60.0


def test_g1_without_any_feed_is_an_error_and_g0_needs_none() -> None:
    assert mistakes("G0 A1\nG1 A2\nF60\nA3") == [
        (2, 1, "G1 needs a feed rate F, and none has been set in G94")
    ]


@pytest.mark.parametrize(
    ("text", "columns"),
    [
        # What an unknown G or M word would need may stand with it.
        ("G2 A1 X5 I2 J3 P4", [1]),
        ("M6 T1", [1]),
        # What is missing may be what was not read.
        ("G1 F A1", [4]),
        ("G1 A1 F!60", [7]),
        ("G4 P", [4]),
        ("G!0 A1", [1]),
        ("A1 GO", [4]),
        # Mistakes that have nothing to do with each other are all told.
        ("G0 X1 Y2", [4, 7]),
        ("G5 G0 A1 G17", [1, 10]),
        ("G1 F-1 A1 A2", [4, 11]),
        ("M3 A1", [4]),
    ],
)
def test_what_follows_from_a_mistake_on_its_line_is_not_told(text: str, columns: list[int]) -> None:
    assert [column for _, column, _ in mistakes(text)] == columns


@pytest.mark.parametrize(
    ("text", "lines"),
    [
        # The motion mode, or the feed rate, that later lines miss was on a line with a mistake.
        ("G!0 A1\nA2\nA3", [1]),
        ("G1 A1 F60O0\nA2", [1]),
        ("G1.5 F60 A1\nG1 A2 G6\nA3", [1, 2]),
        ("G7 F\nG1 A2", [1, 1]),
        # It was not: it is told as well.
        ("G7\nG1 A2", [1, 2]),
        ("X5\nA2", [1, 2]),
        # What a program lacks altogether is told where it lacks it first.
        ("A1\nA2\nA3", [1]),
        ("G1 A1\nA2\nB3", [1]),
        # Another feed rate mode needs another feed rate.
        ("G1 A1\nG93 A1 F1\nG94 A2\nA3", [1, 3]),
    ],
)
def test_what_follows_from_a_mistake_on_later_lines_is_not_told(
    text: str, lines: list[int]
) -> None:
    assert [line for line, _, _ in mistakes(text)] == lines


@pytest.mark.parametrize("last", ["M2 2", "M 3 0 2", "M ?"])
def test_last_line_that_is_not_understood_may_have_been_the_end(last: str) -> None:
    _, found = read_program(f"G0 A1\n{last}\n(end)\n", LETTERS)
    assert [problem.line for problem in found.told()] == [2]
    _, found = read_program(f"{last}\nG0 A1", LETTERS)
    assert [problem.line for problem in found.told()] == [1, 2]


@pytest.mark.parametrize("code", ["G1", "g01", "G1.", "G1.0", "G+1", "G 0 1", "G001.000"])
def test_a_code_is_known_by_its_value(code: str) -> None:
    (move,) = moves(f"{code} F60 A1")
    assert not move.rapid


def test_all_errors_are_found_in_file_order() -> None:
    found = mistakes("G0 Q1\nG5\nA1 ?\nG1 A1 F60\n(open\nG4 P-1")
    assert [(line, column) for line, column, _ in found] == [
        (1, 4), (2, 1), (3, 4), (5, 1), (6, 4),
    ]  # fmt: skip


def test_an_error_reads_as_a_sentence_with_its_place() -> None:
    with pytest.raises(
        ProgramError,
        match=r"^line 1, column 4: X1 is the target of a linear axis .*; the joints are A B",
    ):
        parse_program("G0 X1\nM2", LETTERS)


def test_blank_lines_and_comments_do_nothing() -> None:
    assert steps("\n (hello) \n\t\nN5\n()") == ()


@pytest.mark.parametrize("letters", ["AF", "G", "S", "T", "O"])
def test_joint_letters_must_be_free(letters: str) -> None:
    with pytest.raises(ValueError, match="are not free"):
        parse_program("M2", dict.fromkeys(letters, "joint"))


GOOD_LINES = st.lists(
    st.sampled_from(
        ["G1 A1 F60", "G0 B2 C3", "A3.5", "G91", "G90 U-4", "G4 P1", "M0", "F30", "(note)", ""]
    ),
    max_size=10,
)


@given(GOOD_LINES, st.integers(0, 10), st.sampled_from(["", "(x)", " \t", "()\n\n"]))
def test_blank_lines_comments_and_line_numbers_anywhere_change_only_line_numbers(
    lines: list[str], at: int, filler: str
) -> None:
    def shape(text: str) -> list[tuple[object, ...]]:
        found: list[tuple[object, ...]] = []
        for step in parse_program(text, LETTERS).steps:
            if isinstance(step, Move):
                feed = step.feed_deg_min
                found.append((step.rapid, step.relative, feed, tuple(sorted(angles(step).items()))))
            else:
                found.append((type(step), getattr(step, "seconds", None)))
        return found

    plain = ["G0 A0", *lines, "M2"]
    numbered = [f"n{k} {line.lower()}" for k, line in enumerate(plain)]
    numbered.insert(min(at, len(plain) - 1), filler)
    assert shape("\n".join(plain)) == shape("\r\n".join(numbered))
