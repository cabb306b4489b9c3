"""Programs from their text to their steps, line by line. Sections are those of NISTIR 6556."""

import pickle
import re
import sys
from types import FrameType
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from coordinator.config.problems import MAX_PROBLEMS
from coordinator.programs import (
    End,
    Move,
    PathControl,
    ProgramError,
    Reader,
    parse_program,
    read_program,
    words,
)
from tests.coordinator.programs.test_interpreter import LETTERS, mistakes


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
    (problem,) = read_program(text, LETTERS)[1].told()
    assert (problem.line, problem.column) == (line, column)
    assert "without M2 or M30" in problem.message


def test_a_percent_line_that_does_not_come_first_ends_nothing() -> None:
    ((line, column, message),) = mistakes("G0 A1\n%")
    assert (line, column) == (2, 1)
    assert "may only stand alone: on the first line of a program" in message


def test_a_demarcated_program_is_what_stands_between_two_percent_lines() -> None:
    # §3.1.
    found = parse_program("\n \n % \nG0 A1\n\t%\nG2\n", LETTERS)
    assert [step.line for step in found.steps] == [4, 5]


def test_lines_with_a_slash_are_left_out_unread_with_block_delete_only() -> None:
    text = "G0 A1\n/A2\n /N5 A3\nM2"
    assert len(parse_program(text, LETTERS).steps) == 4
    assert len(parse_program(text, LETTERS, block_delete=True).steps) == 2
    assert parse_program("/(( ??\nM2", LETTERS, block_delete=True).steps == (End(2),)
    assert len(mistakes("/(( ??")) == 1


LINES = st.lists(
    st.one_of(
        st.text(max_size=30),
        st.text(alphabet=st.sampled_from("GMNPFABU01468.-+()/% ;#[]sin\n\r"), max_size=30),
        st.sampled_from(
            [
                *("G1 A1 F60", "G0 B2", "A3", "G91", "G90", "G93", "G94", "F2", "G4 P1", "M0", "%"),
                *("G80", "G64 P2", "G64", "G61", "M1", "M60", "/A5", "G2 A1 I2", "A[1]", "A#1"),
                *("(UNISONO, X tool)", "(UNISONO, A elbow)", "(UNISONO, C turntable)", "X1"),
            ]
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
    _, found = read_program(text, LETTERS, block_delete=block_delete)
    problems = found.told()
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
            if step.tolerance_deg is not None:
                assert step.path_control is PathControl.CONTINUOUS
                assert 0.0 < step.tolerance_deg <= 45.0
            assert step.rapid == (step.feed_deg_min is None and step.nominal_s is None)


def test_lines_give_their_steps_one_by_one() -> None:
    reader = Reader(LETTERS)
    counts = [len(reader.feed(line)) for line in ("G0 A1", "(x)", "G4 P1 B2 M0", "M2", "G0 A5")]
    reader.close()
    assert counts == [1, 0, 3, 1, 0]
    assert (reader.has_ended, reader.unread_line, reader.problems.count) == (True, 5, 0)


def size_after(lines: int, line: str) -> int:
    """Bytes of all that a reader keeps after so many lines."""
    reader = Reader(LETTERS)
    for _ in range(lines):
        reader.feed(line)
    return len(pickle.dumps(reader))


@pytest.mark.parametrize(
    "line", ["G1 A1.5 B2 F60 (x)", "G0 Q1 A[", "A1 ?", "(UNISONO, A tool)", "%"]
)
def test_what_a_reader_keeps_does_not_grow_with_the_number_of_lines(line: str) -> None:
    # Its counters' digits may.
    assert size_after(20_000, line) <= size_after(2 * MAX_PROBLEMS, line) + 3 * MAX_PROBLEMS


def test_of_many_mistakes_the_first_are_told_and_the_rest_counted() -> None:
    _, problems = read_program("G2\n" * (MAX_PROBLEMS + 1) + "M2", LETTERS)
    assert [one.line for one in problems.told()] == list(range(1, MAX_PROBLEMS + 2))
    _, problems = read_program("G2\n" * 5_000 + "M2", LETTERS)
    *first, last = problems.told()
    assert [one.line for one in first] == list(range(1, MAX_PROBLEMS + 1))
    assert (last.line, last.message) == (101, "from here on there are 4900 more mistakes")
    assert problems.count == 5_000


def work_of(text: str, monkeypatch: pytest.MonkeyPatch) -> int:
    """What reading a text takes: calls of any function, and characters that patterns match.

    What a pattern looks at beside these is bounded by the length of a line.
    """
    calls = 0

    def called(_frame: FrameType, event: str, _argument: Any) -> None:
        nonlocal calls
        calls += event in ("call", "c_call")

    matched = 0
    end = words._end

    def counted(pattern: re.Pattern[str], text: str, begin: int) -> int:
        nonlocal matched
        found = end(pattern, text, begin)
        matched += found - begin
        return found

    with monkeypatch.context() as patch:
        patch.setattr(words, "_end", counted)
        before = sys.getprofile()
        sys.setprofile(called)
        try:
            read_program(text, LETTERS)
        finally:
            sys.setprofile(before)
    return calls + matched


CALLS_A_CHARACTER = 60
CALLS_AT_ALL = 400


@given(LINES)
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_work_to_read_a_text_is_bounded_by_its_length(
    monkeypatch: pytest.MonkeyPatch, lines: list[str]
) -> None:
    text = "\n".join(lines)
    assert work_of(text, monkeypatch) <= CALLS_AT_ALL + CALLS_A_CHARACTER * len(text)


@pytest.mark.parametrize(
    "line",
    [
        "G1 A1.5 B-20 C3 D4 E5 U6 F600 (above the tray)",
        "A" + " " * 250,
        "A 1 " * 60,
        "A" + "9" * 255,
        "(UNISONO, speed 40" + " " * 230 + "x)",
        "(" * 250,
        "?" * 250,
        "G2" * 120,
        "A[" * 120,
        "#" * 250,
        "a s i n" + " " * 240,
        "x" * 2_000,
        "",
    ],
)
def test_twice_the_text_is_twice_the_work(line: str, monkeypatch: pytest.MonkeyPatch) -> None:
    once, twice = (work_of(f"{line}\n" * count, monkeypatch) for count in (300, 600))
    # 300 lines are past the mistakes that are kept: the second half costs what the first did.
    assert twice <= 2 * once + CALLS_AT_ALL
