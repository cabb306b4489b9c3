"""Programs that are played several times."""

import pytest

from coordinator.motion import Part
from coordinator.motion.plan import MAX_STEPS, plan_text
from coordinator.motion.route import pose_at
from coordinator.programs import ProgramError
from coordinator.programs.loops import Loops
from tests.coordinator.motion.test_plan import ARM, ZERO


def parts(text: str, loops: int) -> tuple[Part, ...]:
    return plan_text(text, ARM, pose_at(ARM, ZERO), Loops(loops))


def played(found: tuple[Part, ...]) -> list[tuple[int, int]]:
    """Line and loop of every move that takes time, in order."""
    return [
        (move.line, part.loop_of(k))
        for part in found
        for k, move in enumerate(part.moves())
        if move.duration_us
    ]


def test_loops_follow_each_other_without_a_rest_that_no_m0_asks_for() -> None:
    found = parts("G0 A10\nA0\nM2\n", 3)
    assert len(found) == 1
    assert played(found) == [(1, 1), (2, 1), (1, 2), (2, 2), (1, 3), (2, 3)]
    marks = [point.last for move in found[0].moves() for point in move.points[0]]
    assert marks == [False] * (len(marks) - 1) + [True]


def test_each_loop_goes_from_where_the_one_before_ended() -> None:
    (part,) = parts("G0 A10\nA20\nM2\n", 2)
    ends = [[leg.start.degrees[0], leg.end.degrees[0]] for leg in part.legs()]
    assert ends == [[0, 10], [10, 20], [20, 10], [10, 20]]


def test_pauses_part_every_loop_and_each_part_knows_its_loops() -> None:
    found = parts("G0 A10\nM0\nA20\nM2\n", 3)
    assert [part.pause_line for part in found] == [2, 2, 2, None]
    assert played(found) == [(1, 1), (3, 1), (1, 2), (3, 2), (1, 3), (3, 3)]


def test_distances_add_up_over_loops_and_a_range_that_they_leave_is_told_with_the_loop() -> None:
    assert len(played(parts("G91 G0 A50\nM2\n", 3))) == 3
    with pytest.raises(ProgramError) as caught:
        parts("G91 G0 A50\nM2\n", 4)
    (problem,) = caught.value.problems
    assert problem.message.startswith("in loop 4 of 4: turntable would go to 200°")


def test_more_steps_than_memory_is_given_for_are_refused_with_the_limit() -> None:
    text = "G0 A1\nA0\n" * 6 + "M2\n"
    assert len(played(parts(text, 2))) == 24
    with pytest.raises(
        ProgramError, match=f"10000 times 12 steps are 120000, the limit is {MAX_STEPS}"
    ):
        parts(text, 10_000)


def test_program_of_no_motion_is_no_part_however_often_it_is_played() -> None:
    assert parts("M2\n", 5) == ()


def test_pause_is_in_the_loop_whose_m0_it_is() -> None:
    found = parts("M0\nG91 G0 A10\nM2\n", 2)
    assert [(part.pause_line, part.pause_loop) for part in found] == [(1, 1), (1, 2), (None, None)]
