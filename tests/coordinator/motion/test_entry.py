"""Programs played from a line in their middle, and line by line."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.motion import check_program
from coordinator.motion.entry import way_to_line
from coordinator.motion.plan import Part, plan_text
from coordinator.motion.route import pose_at, pose_of
from coordinator.programs import Output, ProgramError, Switches, read_program
from coordinator.programs.loops import Loops
from tests.coordinator.motion.test_check import ARM, ZERO

TEXT = """G94 G90 F600
G0 A10 B5
G1 A20
M3
G91 A5
G90 B-5
M0
G1 A0 B0 F1200
M2
"""
HERE = [ARM.joints[0].to_counts(-3.0), 0, 0, 0, 0, 0]


def parts(
    text: str,
    start: list[int] = HERE,
    loops: int = 1,
    *,
    from_line: int | None = None,
    step_by_line: bool = False,
) -> tuple[Part, ...]:
    switches = Switches(step_by_line=step_by_line, from_line=from_line)
    return plan_text(text, ARM, pose_at(ARM, start), Loops(loops), switches)


def ends(found: tuple[Part, ...]) -> list[tuple[float, ...]]:
    """Where each move ends, in degrees of the first two joints."""
    return [
        tuple(round(at, 6) for at in move.target_deg[:2]) for part in found for move in part.moves()
    ]


def lines(found: tuple[Part, ...]) -> list[int]:
    return [move.line for part in found for move in part.moves()]


def test_from_a_line_the_arm_goes_slowly_to_where_the_program_would_be_and_waits_there() -> None:
    first, *rest = parts(TEXT, from_line=6)
    # A25 B5, as lines 2, 3 and 5 have it, from -3° at the speed of a hand that teaches.
    assert ends((first,)) == [(25.0, 5.0)]
    assert first.pause_line == 6
    (approach,) = first.moves()
    fastest = 28.0 / (ARM.jog_speeds.teaching * ARM.joints[0].velocity_deg_s)
    assert approach.duration_us / 1e6 > fastest
    assert ends(tuple(rest)) == ends(parts(TEXT))[-len(ends(tuple(rest))) :]
    assert lines(tuple(rest))[-2:] == [6, 8]


def test_modes_and_outputs_are_as_the_lines_before_leave_them() -> None:
    _, *rest = parts(TEXT, from_line=5)
    switched = [step for part in rest for step in part.steps if isinstance(step, Output)]
    assert [step.word for step in switched] == ["M3"]
    # Line 5 is relative and at F600, as lines 1 and 5 say.
    whole = {move.line: move.duration_us for part in parts(TEXT) for move in part.moves()}
    found = {move.line: move.duration_us for part in rest for move in part.moves()}
    assert found[5] == whole[5]
    assert ends(tuple(rest))[-3:] == ends(parts(TEXT))[-3:]


def test_where_the_arm_stands_there_already_nothing_is_waited_for() -> None:
    start = [
        joint.to_counts(angle) for joint, angle in zip(ARM.joints, (10, 5, 0, 0, 0, 0), strict=True)
    ]
    first = parts(TEXT, start, from_line=3)[0]
    assert lines((first,))[0] == 3
    assert first.pause_line != 3


def test_a_line_without_a_step_is_the_next_that_has_one() -> None:
    assert ends(parts(TEXT, from_line=1)) == ends(parts(TEXT))
    text = "(one)\n\nG0 A5\n(two)\nA7\nM2"
    assert lines(parts(text, from_line=4)) == [5, 5]


def test_in_the_middle_of_a_relative_block_what_no_line_has_named_is_refused() -> None:
    text = "G91 G0 A1\nA1\nB1\nM2"
    with pytest.raises(
        ProgramError, match="where turntable would be as line 2 begins is not known"
    ):
        parts(text, from_line=2)
    # The shoulder was not turned before.
    named = "G0 A1\nG91 A1\nB1\nM2"
    assert ends(parts(named, from_line=3))[0] == (2.0, 0.0)


@pytest.mark.parametrize("line", [11, 400])
def test_a_line_beyond_the_text_is_told_with_how_many_there_are(line: int) -> None:
    with pytest.raises(ProgramError) as caught:
        parts(f"{TEXT.rstrip()}\n(the end)\n", from_line=line)
    (problem,) = caught.value.problems
    assert str(problem) == (
        f"line {line}, column 1: the line to begin from is {line}, but the program has 10 lines, "
        "counted from 1"
    )


@pytest.mark.parametrize("line", [9, 10])
def test_behind_the_last_line_that_does_something_nothing_is_left_to_play(line: int) -> None:
    with pytest.raises(ProgramError) as caught:
        parts(f"{TEXT.rstrip()}\n(the end)\n", from_line=line)
    (problem,) = caught.value.problems
    assert str(problem) == (
        f"line {line}, column 1: from line {line} on nothing is left to play: the program ends on "
        "line 9"
    )


def test_further_loops_are_whole() -> None:
    found = ends(parts(TEXT, loops=2, from_line=6))
    assert found[-len(ends(parts(TEXT))) :] == ends(parts(TEXT))


def test_lines_before_are_not_judged_by_where_they_would_lead_from_here() -> None:
    text = "G91 G0 A100\nG90 A0\nA10\nM2"
    start = [ARM.joints[0].to_counts(100.0), 0, 0, 0, 0, 0]
    with pytest.raises(ProgramError, match="turntable would go to 200°"):
        parts(text, start)
    assert ends(parts(text, start, from_line=3))[-1] == (10.0, 0.0)


def test_check_tells_the_approach() -> None:
    found = check_program(TEXT, ARM, ZERO, Switches(from_line=6))
    assert found.ok
    assert [move.approach for move in found.moves] == [True, *[False] * (len(found.moves) - 1)]
    assert found.moves[0].target["A"] == 25.0


def test_step_by_line_waits_after_each_line_that_does_something_but_not_at_the_end() -> None:
    found = parts("G0 A1\nB1 G4 P0.1\n(nothing)\nM3\nG64 A2\nA3\nM0\nA4\nM2", step_by_line=True)
    # Behind M3 an input is awaited first, and then the operator.
    assert [part.pause_line for part in found] == [1, 2, None, 4, 5, 7, None]
    assert found[2].awaits is not None
    lasts = [list(part.moves())[-1] for part in found if not part.is_empty]
    assert all(points[-1].velocity == 0 for last in lasts for points in last.points)


@given(st.integers(1, 9), st.booleans())
def test_from_any_line_the_rest_is_played_as_in_the_whole(line: int, step_by_line: bool) -> None:
    try:
        found = parts(TEXT, from_line=line, step_by_line=step_by_line)
    except ProgramError:
        assert line == 9
        return
    rest = [(at, end) for at, end in zip(lines(found), ends(found), strict=True) if at >= line]
    whole = parts(TEXT)
    expected = [(at, end) for at, end in zip(lines(whole), ends(whole), strict=True) if at >= line]
    assert rest[-len(expected) :] == expected


def way(line: int, text: str = TEXT) -> dict[str, float]:
    program, problems = read_program(text, ARM.letters)
    assert not problems.count
    return way_to_line(program, ARM, pose_at(ARM, HERE), line)


def test_way_back_leads_to_where_the_program_would_be_as_the_line_begins() -> None:
    base, second = (joint.name for joint in ARM.joints[:2])
    assert way(6) == {base: 25.0, second: 5.0}
    assert way(3) == {base: 10.0, second: 5.0}
    assert way(2) == {}, "it begins from wherever the arm stands"


@pytest.mark.parametrize("line", [3, 4, 5, 6, 8])
def test_from_where_the_way_back_leads_the_program_goes_on_without_approach_and_pause(
    line: int,
) -> None:
    here = {
        joint.name: at for joint, at in zip(ARM.joints, pose_at(ARM, HERE).degrees, strict=True)
    }
    there = pose_of(ARM, list((here | way(line)).values()))
    found = parts(TEXT, list(there.counts), from_line=line)
    assert found[0].pause_line != line
    before = [4] if line > 4 else []  # the output of that line, as it left it
    assert lines(found) == before + [one for one in lines(parts(TEXT)) if one >= line]


def test_way_back_to_where_only_distances_lead_is_no_way() -> None:
    with pytest.raises(ProgramError, match="by distances"):
        way(4, "G91 G94 F600\nG1 A5\nG1 A5\nG1 A5\nM2\n")
