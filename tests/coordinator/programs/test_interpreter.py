"""The language: modal groups, order of execution, errors. Sections are those of NISTIR 6556."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.programs import (
    Dwell,
    End,
    Move,
    Pause,
    ProgramError,
    Step,
    parse_program,
    read_program,
)

LETTERS = ("A", "B", "C", "D", "E", "U")


def steps(text: str) -> tuple[Step, ...]:
    """The steps of lines that are put before an M2."""
    program = parse_program(text + "\nM2", LETTERS)
    assert isinstance(program.steps[-1], End)
    return program.steps[:-1]


def moves(text: str) -> list[Move]:
    return [step for step in steps(text) if isinstance(step, Move)]


def mistakes(text: str) -> list[tuple[int, int, str]]:
    with pytest.raises(ProgramError) as caught:
        parse_program(text + "\nM2", LETTERS)
    return [(p.line, p.column, p.message) for p in caught.value.problems]


def angles(move: Move) -> dict[str, float]:
    return {LETTERS[target.joint]: target.degrees for target in move.targets}


def test_rapid_and_straight_moves_name_joints_line_and_column() -> None:
    first, second = moves("N10 g0 a-5 u 370\nG1 B.5 F600")
    assert (first.line, first.column, first.rapid, first.relative) == (1, 5, True, False)
    assert angles(first) == {"A": -5.0, "U": 370.0}
    assert [target.column for target in first.targets] == [8, 12]
    assert (first.feed_deg_min, first.nominal_s) == (None, None)
    assert (second.line, second.rapid, second.feed_deg_min) == (2, False, 600.0)
    assert angles(second) == {"B": 0.5}


def test_motion_mode_feed_and_distance_mode_are_modal() -> None:
    found = moves("G1 A1 F60\nA2\nG91\nA3 F30\nG0 A4\nA5\nG90 A6\nG1 A7")
    assert [move.rapid for move in found] == [False, False, False, True, True, True, False]
    assert [move.feed_deg_min for move in found] == [60, 60, 30, None, None, None, 30]
    assert [move.relative for move in found] == [False, False, True, True, True, False, False]
    assert found[1].column == 1


def test_where_e_is_a_joint_f1e3_is_a_feed_and_a_target() -> None:
    (move,) = moves("G1 F1E3")
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
    ("text", "line", "column", "part"),
    [
        ("G1 A1 F0", 1, 7, "F0 is not above zero"),
        ("G1 A1 F-60", 1, 7, "F-60 is not above zero"),
        ("F-60", 1, 1, "F-60 is not above zero"),
        ("G93 F0", 1, 5, "F0 is not above zero"),
        ("G0", 1, 1, "G0 moves no joint"),  # §3.5.1
        ("F60\nG1", 2, 1, "G1 moves no joint"),  # §3.5.2
        ("A5", 1, 1, "before any G0 or G1"),
        ("G4", 1, 1, "needs a time P"),
        ("G4 P-0.1", 1, 4, "-0.1 s is negative"),  # §3.5.4
        ("G0 A1 P3", 1, 7, "P3 belongs to no G4"),
        ("G0 G1 A1 F60", 1, 4, "both of the group motion"),
        ("G90 G91", 1, 5, "both of the group distance mode"),
        ("G93 G94", 1, 5, "both of the group feed rate mode"),
        ("G4 G4 P1", 1, 4, "both of the group non-modal words"),
        ("M0 M30", 1, 4, "both of the group stopping"),
        ("G0 A1 A1", 1, 7, "A stands twice"),
        ("F60 F60", 1, 5, "F stands twice"),
        ("G4 P1 P1", 1, 7, "P stands twice"),
        ("G0 X1", 1, 4, "X1 is not known; the joints are A B C D E U"),
        ("G0 V1", 1, 4, "V1 is not known"),
        ("S100", 1, 1, "S100 is not known"),
        ("T1", 1, 1, "T1 is not known"),
        ("G2 A1", 1, 1, "G2 is not known; there are G0 G1 G4 G90 G91 G93 G94"),
        ("G80", 1, 1, "G80 is not known"),
        ("G61.1", 1, 1, "G61.1 is not known"),
        ("G0.5 A1", 1, 1, "G0.5 is not known"),
        ("G-1 A1", 1, 1, "G-1 is not known"),
        ("M1", 1, 1, "M1 is not known; there are M0 M2 M30"),
        ("M3", 1, 1, "M3 switches a tool's output, and tool outputs are not there yet"),
        ("M05", 1, 1, "M05 switches a tool's output"),
        ("G0 A1 M8", 1, 7, "M8 switches a tool's output"),
        ("M9", 1, 1, "M9 switches a tool's output"),
        ("M3 S1000", 1, 1, "M3 switches a tool's output"),
        ("M4", 1, 1, "M4 is not known; there are M0 M2 M30"),
        ("M60", 1, 1, "M60 is not known"),
        ("G53 G0 A1", 1, 1, "G53 is not known"),
    ],
)
def test_what_the_language_does_not_allow_is_one_error_at_its_word(
    text: str, line: int, column: int, part: str
) -> None:
    found = mistakes(text)
    ((at, where, message),) = found
    assert (at, where) == (line, column)
    assert part in message


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
        ("M3 A1", [1, 4]),
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
    assert [problem.line for problem in found] == [2]
    _, found = read_program(f"{last}\nG0 A1", LETTERS)
    assert [problem.line for problem in found] == [1, 2]


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
    with pytest.raises(ProgramError, match=r"^line 1, column 4: X1 is not known; the joints"):
        parse_program("G0 X1\nM2", LETTERS)


@pytest.mark.parametrize("end", ["M2", "M30", "m02", "M30.", "G0 A1 M2", "M2 (done)", "%"])
def test_a_program_ends_with_m2_m30_or_a_second_percent_line(end: str) -> None:
    program = parse_program(f"%\nG0 A5\n{end}", LETTERS)
    assert program.steps[-1] == End(3)


def test_what_follows_the_end_is_not_read() -> None:
    assert parse_program("M2\nG77 ((\n", LETTERS).steps == (End(1),)
    assert parse_program("%\nM30\n???", LETTERS).steps == (End(2),)
    assert parse_program("%\n%\nG77 ((\n", LETTERS).steps == (End(2),)


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("M2", None),
        ("M2\n\n \t\n", None),
        ("M2\n\nG0 A1\n", 3),
        ("M30\n(a comment)", 2),
        ("%\nM2\n%\n", None),
        ("%\nM2\n%\nG0 A1", 4),
        ("%\nG0 A1\n%\nG0 A2\nM2", 4),
        ("G0 A1\nM2\nM2", 3),
    ],
)
def test_first_line_with_text_that_is_not_read_is_known(text: str, line: int | None) -> None:
    assert parse_program(text, LETTERS).unread_line == line


@pytest.mark.parametrize(
    ("text", "line", "column"),
    [
        ("", 1, 1),
        ("\n\n", 1, 1),
        ("G0 A1", 1, 5),
        ("G0 A1\nA2  \n\n", 2, 2),
        ("%\nG0 A1\n", 2, 5),
        ("(M2)\n", 1, 4),
    ],
)
def test_a_program_without_an_end_is_an_error_where_it_stops(
    text: str, line: int, column: int
) -> None:
    _, (problem,) = read_program(text, LETTERS)
    assert (problem.line, problem.column) == (line, column)
    assert "without M2 or M30" in problem.message


def test_a_percent_line_that_does_not_come_first_ends_nothing() -> None:
    ((line, column, message),) = mistakes("G0 A1\n%")
    assert (line, column) == (2, 1)
    assert "may only stand alone: on the first line of a program" in message


def test_lines_with_a_slash_are_left_out_unread_with_block_delete_only() -> None:
    text = "G0 A1\n/A2\n /N5 A3\nM2"
    assert len(parse_program(text, LETTERS).steps) == 4
    assert len(parse_program(text, LETTERS, block_delete=True).steps) == 2
    assert parse_program("/(( ??\nM2", LETTERS, block_delete=True).steps == (End(2),)
    assert len(mistakes("/(( ??")) == 1


def test_blank_lines_and_comments_do_nothing() -> None:
    assert steps("\n (hello) \n\t\nN5\n()") == ()


@pytest.mark.parametrize("letters", [("A", "F"), ("A", "A"), ("G",)])
def test_joint_letters_must_be_distinct_and_free(letters: tuple[str, ...]) -> None:
    with pytest.raises(ValueError, match="not distinct and free"):
        parse_program("M2", letters)


LINES = st.lists(
    st.one_of(
        st.text(max_size=30),
        st.text(alphabet=st.sampled_from("GMNPFABU0149.-+()/% ;\n\r"), max_size=30),
        st.sampled_from(
            ["G1 A1 F60", "G0 B2", "A3", "G91", "G90", "G93", "G94", "F2", "G4 P1", "M0", "%"]
        ),
        st.just("(" + "x" * 300),
    ),
    max_size=12,
)


@given(LINES, st.booleans())
def test_any_text_gives_a_program_or_the_documented_error(
    lines: list[str], block_delete: bool
) -> None:
    text = "\n".join(lines)
    _, problems = read_program(text, LETTERS, block_delete=block_delete)
    rows = re.split(r"\r\n|\r|\n", text)
    for problem in problems:
        assert 1 <= problem.line <= len(rows)
        assert 1 <= problem.column <= max(1, len(rows[problem.line - 1]))
    if problems:
        with pytest.raises(ProgramError) as caught:
            parse_program(text, LETTERS, block_delete=block_delete)
        assert caught.value.problems == problems == tuple(sorted(problems))
        return
    program = parse_program(text, LETTERS, block_delete=block_delete)
    assert isinstance(program.steps[-1], End)
    assert not any(isinstance(step, End) for step in program.steps[:-1])
    for step in program.steps:
        if isinstance(step, Move):
            assert step.targets
            assert step.rapid == (step.feed_deg_min is None and step.nominal_s is None)


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
